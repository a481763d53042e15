"""Everything that must outlive the process: documents, states, runs and the journal."""

from geartender.store.documents import Document
from geartender.store.runs import Run, RunStep
from geartender.store.store import Store

__all__ = ["Document", "Run", "RunStep", "Store"]
