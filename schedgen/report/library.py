"""What `library` prints: the boards and cells that come with the program."""

from __future__ import annotations

from typing import Any

from schedgen.board.load import board_names, cell_names, load_board, load_cell
from schedgen.report.tables import table


def library_record() -> dict[str, Any]:
    """Boards and cells as plain values for JSON."""
    boards = {}
    for name in board_names():
        board = load_board(name)
        boards[name] = {
            "part": board.part,
            "outputs": {output: made.kind for output, made in board.outputs.items()},
            "water_contact": board.water_contact is not None,
            "eeprom_bytes": round(board.eeprom.size.nominal),
            "baud": board.serial.baud,
        }
    cells = {}
    for name in cell_names():
        cell = load_cell(name)
        cells[name] = {
            "chemistry": cell.chemistry,
            "size": cell.size,
            "capacity_ah": cell.capacity.nominal,
            "rated_current_a": cell.rated_current.nominal,
            "cut_off_v": cell.cut_off.nominal,
            "full_v": cell.full.nominal,
        }
    return {"boards": boards, "cells": cells}


def library_lines() -> list[str]:
    """The same as two tables."""
    record = library_record()
    rows = [["board", "part", "outputs", "water contact", "EEPROM", "serial"]]
    for name, board in record["boards"].items():
        contact = "fitted" if board["water_contact"] else "none"
        outputs = " ".join(board["outputs"])
        rows.append([name, board["part"], outputs, contact, f"{board['eeprom_bytes']} B", f"{board['baud']} baud"])
    lines = ["Boards", *("  " + row for row in table(rows)), ""]
    rows = [["cell", "chemistry", "size", "capacity", "rated", "cut-off", "full"]]
    for name, cell in record["cells"].items():
        rows.append(
            [
                name,
                cell["chemistry"].upper(),
                cell["size"],
                f"{cell['capacity_ah']:g} Ah",
                f"{cell['rated_current_a']:g} A",
                f"{cell['cut_off_v']:.2f} V",
                f"{cell['full_v']:.2f} V",
            ]
        )
    lines += [
        "Cells  generic, by chemistry, size and mAh",
        *("  " + row for row in table(rows, right=frozenset({3, 4, 5, 6}))),
    ]
    lines += ["", "`schedgen library NAME` prints one as a file to copy and change."]
    return lines
