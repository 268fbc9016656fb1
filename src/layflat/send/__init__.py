"""Sending: a cut program to the machine, with pause, stop, and going on from a safe point."""

from layflat.send.account import Account, account_of
from layflat.send.address import Address, NetworkAddress, SerialAddress, read_address
from layflat.send.drive import HaltedError, Outcome, Pace
from layflat.send.file import spool_of_file
from layflat.send.line import Line, LineError
from layflat.send.lock import one_sender
from layflat.send.record import Past, Record, read_record
from layflat.send.sender import GoOn, send
from layflat.send.spool import (
    Span,
    Spool,
    sections_of,
    spool_of,
    spool_of_section,
    told_spool,
)
from layflat.send.state import Ask, State

__all__ = [
    "Account",
    "Address",
    "Ask",
    "GoOn",
    "HaltedError",
    "Line",
    "LineError",
    "NetworkAddress",
    "Outcome",
    "Pace",
    "Past",
    "Record",
    "SerialAddress",
    "Span",
    "Spool",
    "State",
    "account_of",
    "one_sender",
    "read_address",
    "read_record",
    "sections_of",
    "send",
    "spool_of",
    "spool_of_file",
    "spool_of_section",
    "told_spool",
]
