"""What a comparison without a finding found out, from its own numbers.

good_news(change, since)    a sentence; None where nothing was judged, or where it made a finding
"""

from tapscan.screening.compare.measure import Change
from tapscan.wording import counted


def good_news(change: Change, since: str) -> str | None:
    """`since` : what it was compared with. A single tone beyond the plate's own scatter is counted, and not called none."""
    judged = int(change.judged.sum())
    if change.statistic is None or not judged or change.statistic > change.limit:
        return None
    tones = f"{counted(judged, 'tone')} compared with {since}"
    if change.by_odds:
        return f"{tones}; taken together they fell by no more than the plate's normal variation."
    fell = int((change.named & change.judged).sum())
    told = f"{fell} of them fell a little more than" if fell else "none fell by more than"
    return f"{tones}; {told} the plate's normal variation{', too few for a finding' if fell else ''}."
