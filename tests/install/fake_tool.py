"""Behaves like the copying tool towards boards that are folders: `python fake_tool.py WORLD connect PORT resume ls :`.

WORLD is a folder with a folder for each board, named like the last part of its port, and `die.txt` where the tool is to die after so many
copied files. A board boots as the real one does, by its own `main.py`; the program that this starts is the word in `firmware/board.py`:
`good`, `silent` (runs, says nothing) or `broken` (ends at once). While it runs, the tool cannot get in.
"""

import hashlib
import os
import runpy
import shutil
import sys
import types
from pathlib import Path

RUNNING = "running"
TRIED = "tried"


def boot(board: Path) -> None:
    """Start a board: `running` beside its files says what runs afterwards."""
    state = board.with_suffix(".state")
    state.unlink(missing_ok=True)
    main = board / "main.py"
    if not main.exists():
        return

    def program() -> None:
        kind = (board / "firmware/board.py").read_text().strip()
        if kind != "broken":
            state.write_text(kind)
        else:
            raise SystemExit("a mistake in the new firmware")

    here = Path.cwd()
    stub = types.ModuleType("firmware.board")
    stub.main = program  # type: ignore[attr-defined]
    sys.modules["firmware"], sys.modules["firmware.board"] = types.ModuleType("firmware"), stub
    os.chdir(board)
    try:
        runpy.run_path(str(main))
    except SystemExit:
        boot(board)  # the board starts anew when its program ends by a mistake
    finally:
        os.chdir(here)


def fail(text: str) -> None:
    print(f"mpremote: {text}", file=sys.stderr)
    sys.exit(1)


def copied(world: Path) -> None:
    """Count a copied file; die when it was one too many."""
    die = world / "die.txt"
    if die.exists():
        left = int(die.read_text()) - 1
        die.write_text(str(left))
        if left < 0:
            fail("the serial port was lost")


def copy(world: Path, board: Path, words: list[str]) -> None:
    *sources, target = words
    for source in sources:
        copied(world)
        name = source.rsplit("/", 1)[-1].removeprefix(":")
        if source.startswith(":"):
            shutil.copyfile(board / source[1:], Path(target) / name)
        else:
            path = board / target[1:]
            if target.endswith("/"):
                if not path.is_dir():
                    fail("cp: destination is not a directory")
                path = path / name
            shutil.copyfile(source, path)


def run(world: Path, words: list[str]) -> None:
    if words == ["connect", "list"]:
        print("/dev/ttyS0 None 0000:0000 None None")
        for board in sorted(path for path in world.iterdir() if path.is_dir()):
            print(f"/dev/{board.name} id-{board.name} 2e8a:0005 MicroPython Board in FS mode")
        return
    _, port, _, command, *rest = words
    board = world / port.removeprefix("/dev/")
    if not board.is_dir():
        fail(f"failed to access {port} (it may be in use by another program)")
    if board.with_suffix(".state").exists():
        fail("could not enter raw repl")
    if command == "cp":
        copy(world, board, rest)
        return
    if command == "reset":
        boot(board)
        return
    for path in (board / word.removeprefix(":") for word in rest):
        on_file(command, path)


def on_file(command: str, path: Path) -> None:
    if command == "ls":
        print(f"ls :{path}")
        for one in sorted(path.iterdir()):
            print(f"{one.stat().st_size:12} {one.name}{'/' if one.is_dir() else ''}")
    elif command == "sha256sum":
        print(f"sha256sum :{path}")
        print(hashlib.sha256(path.read_bytes()).hexdigest())
    else:
        {"rm": path.unlink, "mkdir": path.mkdir, "touch": path.touch}[command]()


if __name__ == "__main__":
    run(Path(sys.argv[1]), sys.argv[2:])
