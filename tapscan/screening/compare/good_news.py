"""What a comparison without a finding found out, from its own numbers.

good_news(change, since, scans)    a sentence or two; None where nothing was judged, or where it made a finding
"""

from tapscan.screening.compare.change import Change
from tapscan.wording import counted

ONE_SCAN = " One earlier scan does not show how much this plate varies by itself, so a small change cannot be told."


def good_news(change: Change, since: str, scans: int) -> str | None:
    """`since` : what it was compared with, `scans` earlier ones. A single tone beyond the scatter is counted, and not called none."""
    judged = int(change.judged.sum())
    if change.statistic is None or not judged or change.statistic > change.limit:
        return None
    tones = f"{counted(judged, 'tone')} compared with {since}"
    than, rest = ("the plate's normal variation", "") if scans > 1 else ("is usual between two scans", ONE_SCAN)
    if change.by_likelihood_ratio:
        return f"{tones}; taken together they fell by no more than {than}.{rest}"
    fell = int((change.named & change.judged).sum())
    told = f"{fell} of them fell a little more than" if fell else "none fell by more than"
    return f"{tones}; {told} {than}{', too few for a finding' if fell else ''}.{rest}"
