"""The seal: signed checkpoints of the book, receipts and proofs that anyone can check offline."""

from wareleaf.book.seal.checkpoint import Checkpoint, TreeLevels, opened, roots_at, signed
from wareleaf.book.seal.note import Verifier, check_name, open_note, sign, verifier_of
from wareleaf.book.seal.receipt import (
    CONSISTENCY,
    FORMAT,
    Proved,
    check_consistency,
    check_receipt,
    events_of_lot,
    make_consistency,
    make_receipt,
    tlog_proof,
)
from wareleaf.book.seal.tiles import TILE, TileTree, fold_tiles

__all__ = [
    "CONSISTENCY",
    "FORMAT",
    "TILE",
    "Checkpoint",
    "Proved",
    "TileTree",
    "TreeLevels",
    "Verifier",
    "check_consistency",
    "check_name",
    "check_receipt",
    "events_of_lot",
    "fold_tiles",
    "make_consistency",
    "make_receipt",
    "open_note",
    "opened",
    "roots_at",
    "sign",
    "signed",
    "tlog_proof",
    "verifier_of",
]
