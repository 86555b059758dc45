"""Are the subjects of the newest commits as DEVELOPERS.md asks?  Needs git alone.

`python -m tests.tools.subjects` looks at what came since the last tag, or since `SINCE`
where there is none; merges name themselves and are left out.  A shallow clone that ends
above it, or an export without git, has nothing to look at.
"""

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
SINCE = "fb7233d6d05e"
"""The last commit before this rule."""
LONGEST = 72
"""Characters: what `git log --oneline` shows in 80 columns (common practice)."""
NO_VERB = re.compile(
    "an?|the|this|that|these|its?|we|i|our|new|old|more|less|no|not|some|all|when|where"
    "|if|as|in|on|at|for|with|by|to|from|of|and|or|but|wip|fixup|squash|minor|misc"
)
"""What a subject begins with that does not say what the commit does."""
LIKE_VERBS = re.compile(
    "bring|embed|exceed|feed|need|proceed|seed|shed|speed|bleed|weed|wed|ring|string"
    "|swing|cling|sling|fling|spring|sing|focus|bias|canvas"
)
"""Verbs that only look like a past tense, an -ing form or a third person."""


def wrong(subject: str) -> str:
    """Say what is wrong with a subject; '' for nothing."""
    if len(subject) > LONGEST:
        return f"{len(subject)} characters, at most {LONGEST}"
    if subject.rstrip().endswith((".", "!", "…")):
        return "ends with a full stop"
    first = re.match(r"[A-Z][a-z]*(?:-[a-z]+)?(?= )", subject)
    if first is None:
        return "begins with no verb that has a capital"
    verb = first[0].lower()
    if NO_VERB.fullmatch(verb):
        return f"begins with '{first[0]}', not with a verb"
    is_bent = verb.endswith(("ed", "ing")) or re.search(r"[^s]s$", verb)
    if is_bent and not LIKE_VERBS.fullmatch(verb):
        return f"'{first[0]}' is not imperative"
    return ""


def _git(folder: Path, *words: str) -> str | None:
    """Call git; None where it is not there, or has no answer."""
    try:
        done = subprocess.run(
            ["git", "-C", str(folder), *words],
            capture_output=True,
            text=True,
            check=True,
        )
    except (OSError, subprocess.CalledProcessError):
        return None
    return done.stdout.strip()


def newest(folder: Path) -> list[tuple[str, str]]:
    """Return short hash and subject of each commit that is looked at, newest first."""
    if _git(folder, "rev-parse", "--show-toplevel") != str(folder.resolve()):
        return []  # an export, perhaps inside another project
    base = _git(folder, "describe", "--tags", "--abbrev=0")
    if base is None:
        base = SINCE
        if _git(folder, "merge-base", "--is-ancestor", base, "HEAD") is None:
            return []  # cut short, or written anew: nothing says where to begin
    span = f"{base}..HEAD"
    found = _git(folder, "log", "--no-merges", "--format=%h%x09%s", span) or ""
    return [
        (commit, subject)
        for commit, _, subject in (line.partition("\t") for line in found.splitlines())
    ]


def main(folder: Path = ROOT) -> int:
    """Print what is wrong; return 1 where something is."""
    found = [(commit, one, wrong(one)) for commit, one in newest(folder)]
    for commit, subject, why in found:
        if why:
            print(f"{commit} {subject}\n    {why}", file=sys.stderr)
    return int(any(why for *_, why in found))


if __name__ == "__main__":
    sys.exit(main())
