"""Numbers as they were meant: what went through four bytes comes back with the digits of four bytes."""

from __future__ import annotations

import struct


def as_meant(value: float) -> float:
    """The shortest decimal that is the same number in four bytes, where `value` is such a number; else `value` itself.

    Controls of the window and files of other programs hold numbers in four bytes (IEEE 754 binary32), in which 0.72 is
    0.7200000286102295; written into a document that would stand there for good.

    >>> as_meant(0.7200000286102295), as_meant(0.72), as_meant(1.0 / 3.0)
    (0.72, 0.72, 0.3333333333333333)
    """
    try:
        if struct.unpack("f", struct.pack("f", value))[0] != value:
            return value
    except OverflowError:
        return value
    for digits in range(1, 10):
        short = float(f"{value:.{digits}g}")
        if struct.unpack("f", struct.pack("f", short))[0] == value:
            return short
    return value
