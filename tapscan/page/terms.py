"""The terminal's sentences in the page's own terms: where one names an option or a command, the page names its field or button.

here(text)   the same sentence; nothing else of it changes
"""

import re
from functools import cache

TERMS: tuple[tuple[str, str], ...] = (
    (
        r"--partial screens what was tapped of an aborted take",
        "tick 'Part of the places only' to read what was tapped of an aborted take",
    ),
    (
        r"--assign and --skip put single taps right",
        "single taps are given to their place, or left out, by their numbers",
    ),
    (r"`tapscan scan import` puts single taps right", "single taps are put right where a scan is made from files"),
    (r"put it right with --skip and --assign", "give single taps to their place, or leave them out, by their numbers"),
    (r"--per-station (\S+), or an --order of (\S+) taps, fits", r"\1 taps at each place fit"),
    (r"--layout (.+?) has ", r"the layout \1 has "),
    (
        r" \(`tapscan scan rescreen .+?` screens it anew, .+ stores it a second time\)",
        "; 'Put something right' on that scan's page reads it anew",
    ),
    (
        r"`tapscan plate baseline .+? SCAN` names one, or give --against SCAN",
        "a scan is made one from its own page ('Put something right')",
    ),
    (r"name one with `tapscan plate baseline`", "a scan is made one from its own page ('Put something right')"),
    (
        r"; put it back, or say which it is now: `tapscan settings default \S+=FILE`",
        r"; put it back, or say in Settings which it is now",
    ),
    (r"`tapscan register rescreen`", "'Read every scan anew' below"),
    (r" \(`tapscan settings default dates=\.\.\.` sets another form\)", " (Settings sets another form)"),
    (
        r'say why it may be the baseline all the same: --although "reason"',
        "say below why it may be the baseline all the same",
    ),
    (r"`tapscan register check` tells what else is", "'Look at every file' (Register) tells what else is"),
    (r"run `tapscan register check`", "use 'Look at every file' (Register)"),
    (
        r" and name it with --register \(or in TAPSCAN_REGISTER\)",
        ", then start again with: tapscan open --register FOLDER",
    ),
    (
        r"If it is lost: tapscan register restore BACKUP\. To begin a new, empty one: tapscan plate add NAME --new",
        "If it is lost, restore a backup. Or begin a new, empty one.",
    ),
    (r"; `tapscan plate add NAME` makes one, or name its folder with --register", "; add a plate to make one"),
    (r": name it with --register", ": end this and start again with: tapscan open --register FOLDER"),
    (r"; to begin another one all the same: --new", ""),
    (
        r"; name a (new )?folder (elsewhere )?with --register",
        r"; start again with: tapscan open --register, and a new folder",
    ),
    (r": `tapscan scan move (.+?) PLATE`", ": give it to that plate"),
    (r"take it back: `tapscan scan edit .+? --not-seen all --mistake WHY`", "take it back under 'Enter what you saw'"),
    (r" \(--of [^)]+\)", ""),
    (r": `tapscan scan rescreen .+? --same-plate`", ": say so on its page"),
    (r": --reason .+$", ""),
    (r"`tapscan scan rescreen` makes the pictures anew", "'Read it anew' makes the pictures again"),
    (r"`tapscan scan rescreen` makes anew", "'Read it anew' makes again"),
    (r"; `tapscan visit note` notes one", "; 'A visit today' on the plate's page begins one"),
    (r"`tapscan (visit outcome .+? --region \S+|scan outcome .+? --explains)`", "'Enter the tester's result'"),
    (r"say why it was noted: --mistake WHY", "say why it was noted, in the last field of the form"),
    (r"; leave it out: --mistake WHY", "; leave the reason out"),
    (r", or `tapscan plate edit` it", ", or change that one"),
    (r"; `tapscan plate list` shows the plates, `tapscan plate add` adds one", "; look among the plates, or add it"),
    (r"`tapscan plate list` shows the plates", "look among the plates"),
    (r", `tapscan plate add` adds one", "; add it"),
    (r"`tapscan scan void .+? --undo` takes that back", "'Put something right' takes that back"),
    (r"; `tapscan scan list` shows what there is", "; the plate's page shows what there is"),
    (r"`tapscan scan edit SCAN --sensor contact` \(or microphone\) says it", "'How it was made' says it"),
    (r": `tapscan scan edit .+? --sensor contact`", ", in 'How it was made' on its page"),
    (r"; words of your own go to --sensor-note", "; words of your own go to 'About the sensor'"),
    (r"; `tapscan plate edit .+? --pattern NAME` does", "; 'Change' on the plate's page does"),
    (r"`tapscan plate add NAME --pattern PATTERN`", "add a plate, and say its pattern"),
    (r" \(`tapscan plate edit PLATE --pattern NAME`\)", ""),
    (r"`tapscan scan rescreen` measures it from", "'Read it anew' measures it from"),
    (r" \(--held\)", ""),
    (r" \(--state\)", ""),
    (r" \(--order( soft,hard)?\)", ""),
    (r"\s*`pip install --force-reinstall sounddevice`\.?", " install the sound library again."),
    (r" \(`tapscan scan import`\)", ""),
    (r"; `tapscan mic` lists those there are", ""),
    (r"; choose another with --channel", "; choose another"),
    (r"^--order: ", "Taps at each place: "),
    (r", say so: --allowed-by NAME$", ", tick that below"),
    (
        r"^--order names (\S+) taps and --per-station (\S+);",
        r"the order names \1 taps, and \2 are said for each place;",
    ),
    (r"^--order names", "the order names"),
    (r"; leave --baseline out", "; take the tick from 'baseline'"),
    (r": add --bar-name with one of (.+)$", r": \1; say which one is meant, in 'Which bar'"),
    (r" \(`tapscan register check` tells what it was\)", " ('Look at every file' tells what it was)"),
    (r": `tapscan register check --register ADDRESS`", ", with tapscan open --register ADDRESS"),
    (r": do `tapscan register move` again", ": move it again, from the terminal"),
    (
        r"`tapscan register move` puts one there, and `tapscan .+?` begins an empty one",
        "from the terminal a register is moved there, or an empty one begun",
    ),
    (r"; make it with --encoding=UTF8", "; it must be made anew, with the encoding UTF8"),
    (r"--assign (\S+?)=", r"\1 to "),
    (r"--(assign|skip) ", ""),
    (r"^--\w[\w-]* ", ""),
)


@cache
def _compiled() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple((re.compile(pattern), said) for pattern, said in TERMS)


def here(text: str) -> str:
    """Only sentences that name the terminal are changed."""
    if "--" not in text and "tapscan " not in text:
        return text
    for pattern, said in _compiled():
        text = pattern.sub(said, text)
    return text
