"""What the reference bar changes in a comparison; nothing where there is none.

chain_facts(found, unlike, limitations)   the comparison's `chain`, `chain_reason`, `unlike` and `limitations`
without_lists(evidence, changes)          lost and new tones count for nothing where the chain hears otherwise
"""

from collections.abc import Sequence
from typing import Any

from msgspec.structs import replace

from tapscan.records import ChainChange
from tapscan.screening.chain.words import of_list
from tapscan.screening.compare.unpaired_modes import uncounted
from tapscan.screening.rules.change_since_baseline import Evidence

Found = tuple[tuple[ChainChange, ...], str | None]  # as chain_change.between gives it


def chain_facts(found: Found, unlike: Sequence[str], limitations: Sequence[str]) -> dict[str, Any]:
    """Its sentences stand among those that say how the scans are unlike."""
    changes, reason = found
    return {
        "chain": changes,
        "chain_reason": reason,
        "unlike": (*unlike, *(sentence for c in changes for sentence in c.sentences)),
        "limitations": (*filter(None, [of_list(changes)]), *limitations),
    }


def without_lists(evidence: Evidence, changes: Sequence[ChainChange]) -> Evidence:
    """They are still shown."""
    if not of_list(changes):
        return evidence
    return replace(evidence, lost=uncounted(evidence.lost), gained=uncounted(evidence.gained))
