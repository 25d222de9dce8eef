"""Letters and figures large enough to be read across a shop: five by five blocks, drawn here for this tool.

large(text, across)   lines of text; each block is `across` characters wide and one line high
"""

FIVE = {
    "A": "01110 10001 11111 10001 10001", "B": "11110 10001 11110 10001 11110", "C": "01111 10000 10000 10000 01111",
    "D": "11110 10001 10001 10001 11110", "E": "11111 10000 11110 10000 11111", "F": "11111 10000 11110 10000 10000",
    "G": "01111 10000 10011 10001 01111", "H": "10001 10001 11111 10001 10001", "I": "111 010 010 010 111",
    "J": "00111 00010 00010 10010 01100", "K": "10010 10100 11000 10100 10010", "L": "10000 10000 10000 10000 11111",
    "M": "10001 11011 10101 10001 10001", "N": "10001 11001 10101 10011 10001", "O": "01110 10001 10001 10001 01110",
    "P": "11110 10001 11110 10000 10000", "Q": "01110 10001 10101 10010 01101", "R": "11110 10001 11110 10010 10001",
    "S": "01111 10000 01110 00001 11110", "T": "11111 00100 00100 00100 00100", "U": "10001 10001 10001 10001 01110",
    "V": "10001 10001 10001 01010 00100", "W": "10001 10001 10101 11011 10001", "X": "10001 01010 00100 01010 10001",
    "Y": "10001 01010 00100 00100 00100", "Z": "11111 00010 00100 01000 11111", "0": "01110 10011 10101 11001 01110",
    "1": "010 110 010 010 111", "2": "11110 00001 01110 10000 11111", "3": "11110 00001 01110 00001 11110",
    "4": "10010 10010 11111 00010 00010", "5": "11111 10000 11110 00001 11110", "6": "01110 10000 11110 10001 01110",
    "7": "11111 00010 00100 01000 01000", "8": "01110 10001 01110 10001 01110", "9": "01110 10001 01111 00001 01110",
    "#": "01010 11111 01010 11111 01010", ",": "0 0 0 1 1",
    "-": "000 000 111 000 000", " ": "00 00 00 00 00", ".": "0 0 0 0 1", "/": "00001 00010 00100 01000 10000",
}  # fmt: skip
BLOCK = "█"


def large(text: str, across: int = 2) -> list[str]:
    """Five lines; a sign that is not drawn here becomes a gap."""
    rows = [""] * 5
    for sign in text.upper():
        for i, line in enumerate(FIVE.get(sign, FIVE[" "]).split()):
            rows[i] += line.replace("1", BLOCK * across).replace("0", " " * across) + " " * across
    return rows


def fitting(text: str, width: int, most: int = 3) -> list[str]:
    """As large as the width allows, blocks at most `most` wide; plain text where even the smallest does not fit."""
    for across in range(most, 0, -1):
        rows = large(text, across)
        if max(map(len, rows)) <= width:
            return rows
    return [text[:width]]
