"""What is said of a check that is OUT or N/O: one plain sentence for every kind and reason.

The words in braces are facts that the kind gives. Lower case, no full stop, no blame.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from string import Formatter

from validator.language import Said

SENTENCES: Mapping[tuple[str, str], str] = {
    ("interval", "too_late"): "{found} in service without a cleaning that counts, {limit}{since}",
    ("interval", "carried"): "{found} in service without a cleaning that counts and {carried} by which the one before came late, {limit}{since}",
    ("interval", "drifted"): "{found} in service over several intervals together, {limit}{since}",
    ("interval", "missing_time"): "an end is missing or can be read in two ways, so it cannot be told whether the time between cleanings kept to {limit}",
    ("interval", "unread_file"): "no row is about this machine, and a file that may hold some could not be read",
    ("interval", "lost_record"): "an earlier report knew of a cleaning{lost} that these records do not hold, so it cannot be told whether {limit} was kept",
    ("interval", "missing_agent"): "a cleaning in between does not say what was used, so it cannot be told whether it counts and {limit} was kept",
    ("interval", "no_start"): "no cleaning that counts and no in-service date, so there is no day to count from",
    ("flush", "missing"): "no {step} is recorded for {target}",
    ("flush", "too_short"): "{target}: {step} for {found}, {required}{because}",
    ("flush", "missing_time"): "{target}: a start or an end of {step} is missing or can be read in two ways{possible}{because}, so {required} cannot be shown",
    ("flush", "contradiction"): "{target}: the times of {step} contradict each other, so {required} cannot be shown",
    ("contact", "missing"): "no {steps} is recorded for {target}",
    ("contact", "too_short"): "{target}: {found} of contact, {required}{because}",
    ("contact", "missing_time"): "{target}: a start or an end is missing or can be read in two ways{because}, so {required} of contact cannot be shown",
    ("contact", "contradiction"): "{target}: the times of the contact contradict each other, so it cannot be shown",
    ("contact", "missing_condition"): "{target}: {found} of contact, but what it depends on (agent, strength, temperature, pH or hardness) is not recorded",
    ("contact", "no_limit"): "{target}: {found} of contact, but what was used{agent} fits no line of the limits",
    ("concentration", "outside"): "{target}: {found}{conditions}{asked}",
    ("concentration", "not_measured"): "{target}: no reading is recorded{calculated}",
    ("concentration", "missing_condition"): "{target}: {found}{conditions}, but {lacking}, which decides, is not recorded",
    ("concentration", "no_limit"): "{target}: {found}, but the limits are those of the product's label and the register does not give them",
    ("mixed_strength", "disagrees"): "{target}: {found} was read, but {mixed} makes {strength}",
    ("mixed_strength", "not_measured"): "{target}: no reading is recorded{calculated}",
    ("mixed_strength", "missing_amounts"): "{target}: {found} was read, but how much product and water was mixed is not fully recorded",
    ("mixed_strength", "unknown_unit"): "{target}: {found} was read, but {mixed} is in a unit of no known size (gal and fl_oz need a country, as us_gal or imp_gal; a powder needs g, kg, oz_av or lb)",
    ("mixed_strength", "no_product_strength"): "{target}: {found} was read from {mixed}, but the product's own strength is not entered in the register",
    ("mixed_strength", "several_mixings"): "{target}: {found} was read; it fits one recorded mixing and not another, and the record does not show which was measured",
    ("order", "wrong_order"): "{target}{order_found}{asked}",
    ("order", "missing_first"): "{target}{then} is recorded, but no {first} at all",
    ("order", "missing_time"): "{target}a time is missing or can be read in two ways, so it cannot be shown that {required}",
    ("order", "contradiction"): "{target}times contradict each other, so it cannot be shown that {required}",
    ("coverage", "missing"): "no {step} is recorded{on_target}",
    ("coverage", "missing_agent"): "what was used is not recorded{on_target}, so {step} cannot be shown",
    ("agreement", "differs"): "{target}: {step} at {found}, {reference} at {told}, {required}",
    ("agreement", "not_measured"): "{target}: no {label} {missing} is recorded, so it cannot be shown that they agree",
    ("agreement", "missing_time"): "{target}: a time is missing or stands twice, so it cannot be told which reading was the last",
    ("agreement", "contradiction"): "{target}: times contradict each other, so it cannot be told which reading was the last",
    ("agreement", "within_uncertainty"): "{target}: {step} at {found}, {reference} at {told}, nearer to {required} than can be read",
    ("concurrency", "too_many"): "{found} rows of {steps} at once, {required}",
    ("concurrency", "missing_time"): "a time is missing or can be read in two ways, so it cannot be shown that {steps} was {required}",
    ("concurrency", "contradiction"): "times contradict each other, so it cannot be shown that {steps} was {required}",
    ("concurrency", "two_places"): "{person} is recorded at {store} and at {other} at the same time",
    ("feasible_time", "too_fast"): "the cycle took {found}; its steps take at least {least} ({derived})",
    ("feasible_time", "missing_time"): "a time is missing or can be read in two ways, so it cannot be shown that the cycle took at least {least} ({derived})",
    ("interval", "within_uncertainty"): "the time between cleanings is nearer to {limit} than the clock is read",
    ("flush", "within_uncertainty"): "{target}: {step} for {found}, nearer to {required} than the clock is read",
    ("contact", "within_uncertainty"): "{target}: {found} of contact, nearer to {required} than the clock is read",
    ("concentration", "within_uncertainty"): "{target}: {found}{conditions} can stand for values on either side of the limits{likely}",
    ("order", "within_uncertainty"): "{target}{order_found}, nearer to what is asked than the clock is read",
    ("concurrency", "within_uncertainty"): "rows of {steps} follow each other more closely than the clock is read",
    ("feasible_time", "within_uncertainty"): "the cycle took {found}, nearer to {least} than the clock is read ({derived})",
    ("record", "blank"): "{field} is blank {blank_on}",
    ("record", "unreadable"): "{field} cannot be read {blank_on}",
    ("record", "too_late"): "{field} is {found} after the work, {required}",
    ("record", "missing_time"): "{field}: a time is missing, so it cannot be shown that it was {required}",
    ("record", "before_the_work"): "{field} lies before the work was done, so it cannot be shown that it was {required}",
    ("record", "not_recorded"): "{field} is not recorded",
    ("record", "same_person"): "{person} did the work and verified it",
    ("consistency", "end_before_start"): "{what} ends before it starts{rest}",
    ("consistency", "duration_disagrees"): "the duration of {what} is not the time between its start and its end{rest}",
    ("consistency", "no_room"): "{what} names an hour that the clock showed twice, and either way another row takes its time{rest}",
    ("consistency", "recorded_before"): "{what} was written down before it was done{rest}",
    ("consistency", "verified_before"): "verified before the work was done: {other} went on until {until}",
    ("consistency", "cycles_interleaved"): "the cycle began while cycle {other_cycle} went on until {until}",
    ("consistency", "twice_at_once"): "{what} stands twice at the same time{rest}",
    ("record", "future"): "{field} is {found} after the moment of this audit",
    ("record", "not_reviewed"): "nobody has reviewed it {found} after the work, {required}",
    ("record", "not_kept"): "the oldest record given {since}; asked: {required}",
    ("record", "unread_file"): "the oldest record given {since}, and a file that may hold older ones could not be read",
    ("record", "lost_record"): "an earlier report knew of a cleaning{lost}, and these records hold none, so {required} cannot be shown",
    ("record", "undated"): "the oldest dated record given {since}, and another has no date, so {required} cannot be shown",
    ("record", "no_start"): "the oldest record given {since}, and no in-service date says whether there should be older ones",
    ("record", "too_young"): "in service since {opened}, so {required} cannot be there yet",
    ("samples", "too_many"): "{target}: {over} of the last {of} samples of {test} are above {limit} per gram ({counts}), {required}",
    ("samples", "not_measured"): "{target}: {blank} of the last {of} samples of {test} have no count, so {required} cannot be shown",
    ("samples", "missing_time"): "{target}: a sample of {test} has no time, so which were the last cannot be told",
}  # fmt: skip


EQUIPMENT = "the equipment"


def sentence(kind: str, reason: str, target: str, required: str, facts: Mapping[str, str]) -> Said:
    """The sentence of a check; a kind from elsewhere may have none, then the reason itself is said."""
    template = SENTENCES.get((kind, reason))
    if template is None:
        return Said("{target}: {reason}", {"target": target or EQUIPMENT, "reason": reason.replace("_", " ")})
    words = dict(facts)
    words["required"] = required
    words["target"] = target or EQUIPMENT
    _finish(kind, words, target)
    return Said(template, {name: words.get(name, "") for name in _names(template)})


@cache
def _names(template: str) -> tuple[str, ...]:
    return tuple(name for _, name, _, _ in Formatter().parse(template) if name)


def _finish(kind: str, words: dict[str, str], target: str) -> None:
    """Phrases that stand or fall with a fact."""
    words["lost"] = _if(" ({lost})", lost=words.get("lost"))
    words["because"] = _if(" ({because})", because=words.get("because"))
    if kind == "order":
        words["target"] = _if("{target}: ", target=target)
        words["order_found"], words["asked"] = _order(words)
    elif kind == "coverage":
        words["on_target"] = _if(" for {target}", target=target)
    elif kind == "interval":
        words["since"] = _if(" (since {since})", since=words.get("since"))
        if words.get("passed_over"):
            words["since"] = Said(
                "{since}; what was done in between does not count, for it was not complete or not in order: {passed_over}",
                {"since": words["since"], "passed_over": words["passed_over"]},
            )
    elif kind == "mixed_strength":
        words["calculated"] = _if("; {calculated}", calculated=words.get("calculated"))
    elif kind == "concentration":
        words["likely"] = _if("; it lies inside with a probability of {likely}", likely=words.get("likely"))
        words["calculated"] = _if("; {calculated}", calculated=words.get("calculated"))
        words["lacking"] = words.get("lacking") or "a condition"
        words["asked"] = " fits no row of the limits" if words.get("table") else Said(", {required}", words)
    elif kind == "feasible_time":
        words["least"] = words["required"].removeprefix("at least ")
    elif kind == "contact":
        words["agent"] = _if(" ({agent})", agent=words.get("agent"))
    elif kind == "record":
        words["blank_on"] = _blank_on(words)
    elif kind == "flush":
        found = words.get("found", "")
        vague = " to " in found or "at most" in found
        words["possible"] = _if(" (it can have been {found})", found=found if vague else "")


def _blank_on(words: Mapping[str, str]) -> str:
    """On how many rows a field is blank, or cannot be read."""
    if words.get("once") == "yes":
        return "in the whole cycle"
    said = {name: words.get(name, "") for name in ("count", "rows", "unread")}
    if not said["unread"]:
        return Said("on {count} of {rows} rows", said)
    if said["count"] == "0":
        return Said("on {unread} of {rows} rows", said)
    return Said("on {count} of {rows} rows and cannot be read on {unread}", said)


def _if(template: str, **words: str | None) -> str:
    """A phrase with its words; nothing at all without them."""
    return Said(template, {name: word or "" for name, word in words.items()}) if all(words.values()) else ""


_LAGS = {
    "SSbefore": "{then} starts {lag} before {first} starts",
    "SFbefore": "{then} ends {lag} before {first} starts",
    "FSbefore": "{then} starts {lag} before {first} ends",
    "FFbefore": "{then} ends {lag} before {first} ends",
    "SSafter": "{then} starts {lag} after {first} starts",
    "SFafter": "{then} ends {lag} after {first} starts",
    "FSafter": "{then} starts {lag} after {first} ends",
    "FFafter": "{then} ends {lag} after {first} ends",
}
"""How two steps lay to each other, by the link between them and by which came first."""

_BANNED = {
    ("starts", "has begun"): "{step} starts {lag} after {after} has begun",
    ("starts", "has ended"): "{step} starts {lag} after {after} has ended",
    ("ends", "has begun"): "{step} ends {lag} after {after} has begun",
    ("ends", "has ended"): "{step} ends {lag} after {after} has ended",
}
"""How a step lay to the one after which it was forbidden."""


def _order(words: Mapping[str, str]) -> tuple[str, str]:
    """How the steps lay to each other, and what was asked where that does not follow from it."""
    lag = words.get("lag", "")
    if "step" in words:  # a step that was forbidden
        return Said(_BANNED[words["does"], words["did"]], {**words, "lag": lag or "some time"}), ""
    if not lag:
        return words["required"], ", which is not so"
    before = bool(words.get("before"))
    found = Said(_LAGS[words.get("link", "FS") + ("before" if before else "after")], {"first": "", "then": "", **words})
    return found, "" if before else Said("; asked: {required}", words)
