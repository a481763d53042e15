"""Keeps the settings over a loss of power: takes what was kept at the start, keeps what the host changes while nothing drives."""

from . import tick as t


class Keeper:
    """Takes `text`, what was kept last or None, into a core's settings; gives `keep` the text of each whole change."""

    def __init__(self, core, text, keep):
        self._core = core
        self._keep = keep
        if text is not None:
            core.settings.store(text.split(" "))
        self._seen = core.settings.version

    def step(self):
        """Do one turn; tell whether something was kept."""
        settings = self._core.settings
        if settings.version == self._seen or self._core.state[t.MODE] != t.OFF or settings.missing():
            return False
        self._seen = settings.version
        self._keep(settings.text())
        return True
