"""Sounds of a set made equally large: how well a sound packs tells how long it sounds.

A file that holds more beats, or louder ones, is larger.  FLAC has a block that means nothing
(``PADDING``, RFC 9639 section 8.3); every reader of FLAC passes over it.
"""

from __future__ import annotations

from collections.abc import Sequence

#: Sizes are whole multiples of this, bytes (our choice).
STEP = 4096
_MARK, _PADDING, _HEAD = b"fLaC", 1, 4
#: The mark, the head of the first block, and that block, which always comes first.
_FIRST = len(_MARK) + _HEAD + 34
#: Largest block of FLAC, bytes.
_MOST = 2**24 - 1


def common_size(sizes: Sequence[int]) -> int:
    """Return the size that files of these sizes are padded to, bytes.

    Examples
    --------
    >>> common_size([1000, 5000]), common_size([4096])
    (8192, 8192)
    """
    return STEP * ((max(sizes) + _HEAD - 1) // STEP + 1)


def padded(flac: bytes, size: int) -> bytes:
    """Return a FLAC file made larger, its sound as it was.

    Parameters
    ----------
    flac
        The file.
    size
        How large it has to be, bytes: at least 4 more than it is, or just as large.

    Raises
    ------
    ValueError
        It is no FLAC file, or the size cannot be had.

    Examples
    --------
    >>> bare = b"fLaC" + bytes([0x80, 0, 0, 34]) + bytes(34)
    >>> made = padded(bare, 100)
    >>> len(made), made[4], made[42], set(made[46:])
    (100, 0, 129, {0})
    """
    if flac[:4] != _MARK or len(flac) < _FIRST or flac[4] & 0x7F != 0:
        raise ValueError("found no FLAC file; allowed one")
    if size == len(flac):
        return flac
    more = size - len(flac) - _HEAD
    if not 0 <= more <= _MOST:
        raise ValueError(f"found {len(flac)} bytes to make {size}; allowed 4 or more above")
    last = flac[4] & 0x80  # whether the first block is the last one
    block = bytes([last | _PADDING]) + more.to_bytes(3, "big") + bytes(more)
    return flac[:4] + bytes([0]) + flac[5:_FIRST] + block + flac[_FIRST:]
