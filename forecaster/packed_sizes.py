"""How much packed files may unpack to, beside their packed size: nobody's records are packed to a thousandth."""

from __future__ import annotations

from forecaster.raw_tables import UnreadableFile

# A sheet of readings is packed to an eighth, a CSV file of them to a fifth. More than thirtyfold is one text over and
# over, and would take memory that nobody expects of a small file.
MOST_TIMES = 30
# Whatever it was packed to, so much is read.
ALWAYS_READ_BYTES = 5_000_000


def refuse_bomb(what: str, unpacked: int, packed: int, remedy: str) -> None:
    """UnreadableFile where `unpacked` bytes are far more than `packed` ones can be expected to hold.

    `packed`: what is unpacked as it is packed, at most the file itself, since members may share their bytes.
    """
    most = max(ALWAYS_READ_BYTES, MOST_TIMES * packed)
    if unpacked > most:
        reason = (
            f"{what} unpacks to {unpacked / 1e6:,.0f} MB, {unpacked / max(packed, 1):,.0f} times its size; at most "
            f"{most / 1e6:,.0f} MB are read of a file of this size"
        )
        raise UnreadableFile(reason, remedy)
