"""The words of the committee page: one sentence for every code, plain enough for a first reading.

Whoever reads this page has never seen it before, and sees it once a month. So the sentences are
short, hold no word of statistics, and say no more than the numbers do. A code has one sentence, or
two where one and many read differently. No sentence says that a zone should be treated.
"""

from __future__ import annotations

from collections.abc import Mapping

Words = str | tuple[str, str]
"""A sentence; or one for a single thing, and one for none or many."""

TITLE = "Billbugs at {site}"
SUBTITLE = "For the committee. All that we know up to {day}."

LEAD: Mapping[str, Words] = {
    "above": ("{number} zone is above its limit", "{number} zones are above their limit"),
    "none_above": "No zone is known to be above its limit",
    "undecided": ("{number} is undecided", "{number} are undecided"),
    "no_traps": ("{number} zone has no trap", "{number} zones have no trap"),
    "no_limit_set": "No zone is judged, as we have set no limit",
    "no_limit_today": "No zone is judged, as no limit of ours holds on this day",
    "none_judged": "No zone could be judged yet",
}
"""Parts of the first two sentences, which say it all."""

HEADINGS: Mapping[str, str] = {
    "found": "What we found",
    "where": "Where",
    "last_year": "Compared with last year",
    "plan": "What we plan, and what we leave alone",
    "cost": "How much ground, and what it costs",
    "notes": "Water, bees and players",
    "unknown": "What we do not know",
    "next": "What comes next",
    "glossary": "The words on this page",
    "method": "How this was made",
}
"""Section of the page -> its heading, in order."""

FOUND: Mapping[str, Words] = {
    "round": (
        "In the week of {span}, we checked {checked} of {number} trap.",
        "In the week of {span}, we checked {checked} of {number} traps.",
    ),
    "no_round": "In the week of {span}, no trap was out.",
    "spoiled": (
        "{number} trap was spoiled or gone, so it gave no count.",
        "{number} traps were spoiled or gone, so they gave no count.",
    ),
    "caught": (
        "This season the traps have caught {number} adult billbug.",
        "This season the traps have caught {number} adult billbugs.",
    ),
    "none_caught": "The traps have caught no billbug this season.",
    "no_count": "No trap has given a count yet this season.",
    "above": (
        "{number} zone is above its limit: {zones}.",
        "{number} zones are above their limit: {zones}.",
    ),
    "none_above": "No zone is known to be above its limit.",
    "none_judged": "No zone could be judged yet.",
    "below": (
        "{number} zone is below its limit. That does not prove that no billbugs are there.",
        "{number} zones are below their limit. That does not prove that no billbugs are there.",
    ),
    "undecided": (
        "{number} zone is undecided: what we found does not settle it ({zones}).",
        "{number} zones are undecided: what we found does not settle it ({zones}).",
    ),
    "limits": (
        "Our limit: {limits}. Source: {sources}.",
        "Our limits: {limits}. Source: {sources}.",
    ),
    "no_limit_set": "We have set no limit, so no zone is judged. We show only what was caught.",
    "no_limit_today": "None of our limits holds on this day, so no zone is judged. We show only "
    "what was caught.",
    "most_caught": "The most was caught in {zones}: about {rate} per trap per week.",
    "busy": "Some traps caught far more than chance would bring. They stand in {zones}.",
    "busy_place": "It may be due to where they stand: traps near tall grass or a hedge, or on some "
    "kinds of turf, often catch more.",
    "none_busy": "No group of traps stands out. Chance alone could make the differences we see.",
    "few_traps": "There are too few traps, or too few counts, to tell a busy spot from chance.",
    "all_alike": "All traps caught alike, so no spot is busier than the rest.",
    "not_tested": "Our traps cannot be held against each other, so we cannot tell a busy spot from "
    "chance.",
}
"""What was found."""

OUTSIDE = "ground outside every zone"
"""Where busy traps stand that belong to no zone."""

LAST_YEAR: Mapping[str, Words] = {
    "matched": "We compare {traps} traps that stood in the same place, on the same nights, in both "
    "years, up to the same day of the season.",
    "treated_out": (
        "We leave out {number} trap in a zone that was treated since last season began.",
        "We leave out {number} traps in zones that were treated since last season began.",
    ),
    "rates": "Per trap and week they caught {rate} now and {past} then.",
    "less": "That is {change} less. Allowing for chance, it may be from {low} to {high}.",
    "more": "That is {change} more. Allowing for chance, it may be from {low} to {high}.",
    "same": "That is about the same. Allowing for chance, it may be from {low} to {high}.",
    "unsure": "So we cannot say that it went up or down.",
    "weather": "A warm or a cold spring can do that too.",
    "no_past_season": "There is nothing to compare: no trap was counted last year up to this day.",
    "treated_season": "We do not compare. Most of our traps stand in zones that were treated since "
    "last season began, and a treated year cannot be held against an untreated one.",
    "few_traps": (
        "There is too little to compare: {number} trap stood in the same place on the same nights "
        "in both years. It takes {least}.",
        "There is too little to compare: {number} traps stood in the same place on the same nights "
        "in both years. It takes {least}.",
    ),
    "few_beetles": "Too few billbugs were caught in both years to compare them.",
    "few_before": "Last year the same traps caught next to nothing, so we cannot say how many "
    "times as much it is now.",
}
"""Compared with last year."""

PLAN: Mapping[str, Words] = {
    "planned_above": (
        "The plan covers {number} zone, the one above its limit: {zones}.",
        "The plan covers {number} zones, all above their limit: {zones}.",
    ),
    "planned_named": (
        "The plan covers {number} zone, picked by name: {zones}.",
        "The plan covers {number} zones, picked by name: {zones}.",
    ),
    "left_alone": (
        "It leaves {number} zone alone: {why}.",
        "It leaves {number} zones alone: {why}.",
    ),
    "left_alone_named": (
        "It leaves {number} zone alone.",
        "It leaves {number} zones alone.",
    ),
    "left_above": "{number} above the limit but never treated",
    "left_below": "{number} below",
    "left_undecided": "{number} undecided",
    "left_no_traps": "{number} without traps",
    "left_no_limit": "{number} without a limit",
    "check_zone": "It proposes to keep {zones} untreated, to see later what the treatment did.",
    "lacking": (
        "The plan still lacks {number} entry. The work order lists it.",
        "The plan still lacks {number} entries. The work order lists them.",
    ),
    "open_water": "There is water on the site, and the plan keeps no distance from it yet.",
    "none_above": "No zone is known to be above its limit, so nothing is planned. We leave all "
    "zones alone and go on checking the traps.",
    "only_undecided": "No zone is known to be above its limit, so nothing is planned. We look "
    "again before we decide.",
    "never_treated": "The zones above their limit are of a kind that we never treat, so nothing is "
    "planned.",
    "no_ground": "Nothing is left to treat: what we keep clear covers the zones above their limit.",
    "no_limit": "Without a limit there is no plan. A limit is for us to set: no book gives one for "
    "traps.",
    "caution": "This page only shows what we know. The label is the law. Local rules and a "
    "licensed person decide what may be done.",
}
"""What is planned, and what is not."""

COST: Mapping[str, Words] = {
    "area": "The plan covers {area}. To treat every {uses} zone would take {whole}.",
    "share": "That is {share} of it.",
    "all": "The plan covers all of them: {area}.",
    "surely": "Even if all zones of these kinds that we are unsure of were added, {area} would "
    "stay untreated.",
    "cost": "It would cost {cost}, against {whole} for all of them.",
    "no_cost": "No price was given, so we show no cost.",
    "nothing": "Nothing is planned, so it takes no ground and no money.",
}
"""Area and cost against treating everything."""

NOTES: Mapping[str, Words] = {
    "water": "Water",
    "pollinators": "Bees and other pollinators",
    "players": "Players",
    "notes": "Also",
    "lacking": "No note was given on {topics}.",
    "topic_water": "water",
    "topic_pollinators": "bees",
    "topic_players": "players",
}
"""Heads of the user's own notes, and what stands where there is none."""

UNKNOWN: Mapping[str, Words] = {
    "no_traps": (
        "{number} of {all} zones has no trap. We know nothing about it. That is not the same as "
        "nothing there.",
        "{number} of {all} zones have no trap. We know nothing about them. That is not the same as "
        "nothing there.",
    ),
    "every_zone": "Every zone has a trap, but a trap sees only the ground close to it.",
    "cores_only": (
        "{number} zone has no trap and is judged by its grubs alone.",
        "{number} zones have no trap and are judged by their grubs alone.",
    ),
    "no_nights": (
        "{number} zone has traps but no count yet.",
        "{number} zones have traps but no count yet.",
    ),
    "undecided": (
        "{number} zone may be over its limit or not: we cannot tell yet.",
        "{number} zones may be over their limit or not: we cannot tell yet.",
    ),
    "rough": (
        "In {number} zone with traps we know the catch only roughly: the traps are few or differ "
        "a lot.",
        "In {number} zones with traps we know the catch only roughly: the traps are few or differ "
        "a lot.",
    ),
    "missed": "If {traps} traps side by side caught {fold} times as much as the rest, we would "
    "{often}.",
    "missed_0": "hardly ever miss it",
    "missed_1": "miss it once in 10 times",
    "missed_many": "miss it {number} times in 10",
    "missed_10": "almost always miss it",
    "missed_unknown": "We have too little to say how often a busy spot would be missed.",
    "activity": "A trap counts beetles that walk by. It does not count the grubs that eat the "
    "grass.",
}
"""What is not known."""

NEXT: Mapping[str, Words] = {
    "next_check": "Next check of the traps: {days}.",
    "season_over": "The season ended on {last}. The next one starts on {first}.",
    "larvae_due": "From {first} on we can look for grubs in the soil.",
    "cores_time": "Going by earlier years, most grubs are in the soil from {days}.",
    "effect_told": "From {last} on the traps may tell what the last treatment did.",
    "plan_open": "The plan has no day yet. It waits for a decision.",
}
"""What comes next; one sentence for each kind of date."""

GLOSSARY: tuple[tuple[str, str], ...] = (
    ("Billbug", "a small beetle. Adults walk over the turf in spring; their grubs eat the grass."),
    ("Trap", "a cup or pipe sunk in the ground. Beetles that walk by fall in and are counted."),
    ("Zone", "a piece of the grounds with one use, such as a green, a fairway or a lawn."),
    ("Limit", "the most that we want a zone to carry. It is our own number."),
    (
        "Above or below",
        "above, if the chance to be over the limit is {above} or more. Below, if it is {below} or "
        "less. Undecided, if it lies in between.",
    ),
)
"""Five lines; always the same, so that a new reader needs no other page."""

MAP_KEY: Mapping[str, str] = {
    "a": "A: above its limit",
    "h": "U: undecided, rather over",
    "w": "U: undecided, rather under",
    "b": "below its limit",
    "e": "traps, but nothing to judge by yet",
    "x": "traps that cannot be compared yet",
    "t": "no traps: nothing is known",
    "l": "no limit set",
}
"""Legend, most urgent first."""

MAP_RATE_KEY = "{label} per trap per week"
MAP_DOT_KEY = "a trap"

MAP_OTHER_KEY = {"water": "water", "obstacle": "building or bunker"}

METHOD: tuple[str, ...] = (
    "Comparison with last year: the catch of a visit is spread evenly over its nights, and a "
    "trap's night counts only if the trap was out and in order on the same night of both seasons, "
    "counted from the season's first day. The interval is 90 %, by drawing the traps again "
    "({draws} times). Traps of zones treated since the last season began are left out.",
    "Areas are net of obstacles, buffers and zones that are never treated. Costs are the user's "
    "own prices times the net area.",
    "A zone is above its limit where the chance of being over it is at least {above}, and below it "
    "up to {below}; both are the user's settings.",
)
"""For whoever asks; in the words of the trade, unlike the page itself."""

LIMIT_TEXT: Mapping[str, str] = {
    "adults": "{amount} adult billbugs per trap per week{where}",
    "larvae_ft2": "{amount} grubs per square foot{where}",
    "larvae_m2": "{amount} grubs per square metre{where}",
    "use": " on {use} zones",
    "rest": " on all others",
    "zone": " in {zone}",
}
"""A limit in plain words."""

PLAIN_FORM: Mapping[str, str] = {
    "moran": "busy traps stand near busy traps",
    "permutation": "chance",
    "p-value": "chance",
    "p value": "chance",
    "p =": "chance",
    "p <": "chance",
    "significan": "more than chance would bring",
    "binomial": "how counts differ from trap to trap",
    "dispersion": "how counts differ from trap to trap",
    "posterior": "the chance that it is over its limit",
    "gi*": "a busy spot",
    "irac": "the kind of product",
    "trap-night": "a trap and a night",
    "trap-week": "per trap per week",
    "trap nights": "a trap and a night",
    "cluster": "a busy spot",
    "interval": "from ... to ...",
    "confidence": "from ... to ...",
    "bootstrap": "from ... to ...",
    "degree-day": "how warm it was",
    "phenology": "when they walk",
    "exposure": "how long the traps were out",
    "larvae": "grubs",
    "sphenophorus": "billbug",
    "efficacy": "what the treatment did",
    "threshold": "limit",
    "covariate": "",
    "regression": "",
    "median": "the middle",
    "standard error": "from ... to ...",
    "statistic": "",
    "hypothesis": "",
    "null": "",
    "sigma": "",
    "variance": "",
    "model": "",
    "estimate": "about",
    "parameter": "",
    "density": "how many there are",
    "exclusion": "what we keep clear",
    "net area": "how much ground",
    "probability": "chance",
}
"""Words that may not stand on the page -> how it is said instead; blank: not said at all."""


def say(words: Mapping[str, Words], code: str, number: int | None = None, **values: object) -> str:
    """Return the sentence of a code.

    Parameters
    ----------
    words
        The part of the page.
    code
        What is said.
    number
        How many things it is about, where one and many read differently; shown as `{number}`.
    values
        What else is filled in.

    Examples
    --------
    >>> say(UNKNOWN, "no_nights", 1), say(UNKNOWN, "no_nights", 3)
    ('1 zone has traps but no count yet.', '3 zones have traps but no count yet.')
    """
    text = words[code]
    if isinstance(text, tuple):
        text = text[0 if number == 1 else 1]
    shown = {} if number is None else {"number": f"{number:,}"}
    return text.format(**shown, **values)
