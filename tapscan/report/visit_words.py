"""Half a line for each word of the trade that a buyer may not know.

words_in(text)   (word, meaning) of those that stand in it
"""

WORDS = {
    "plate": "the iron frame in the piano that holds the strings' pull",
    "strut": "one of the iron bars between the openings of the plate",
    "pin field": "where the tuning pins stand",
    "agraffe": "a small brass guide that a string runs through",
    "capo": "capo or pressure bar: a bar that holds the upper strings down",
    "hitch-pin": "hitch pins hold the far ends of the strings",
    "nose bolt": "a bolt that holds the middle of the plate to the wood below",
    "boss": "the thick ring of iron round a bolt or screw hole",
    "horn": "an iron arm that reaches down to a crossbar of the frame, in some grands",
    "magnetic particles": "iron powder that gathers at a crack while the iron is magnetised",
    "penetrant": "a dye that creeps into a crack and then shows it",
    "replica": "a print of the polished iron, read under a microscope",
}


def words_in(text: str) -> list[tuple[str, str]]:
    """In the order of the list; whether one stands in capitals does not matter."""
    said = text.lower()
    return [(word, meaning) for word, meaning in WORDS.items() if word in said]
