"""A broken rule in words: which rule, what figure, what limit, who says so."""

from school.welfare.evaluate import Hit
from school.welfare.rules import RULE

SENSITIVE = ("weight", "weight-jumping")
"""Rules whose figures tell a person's weight."""

_SAYS = {
    "weight": "would carry {figure} % of its weight",
    "weight-jumping": "would jump with {figure} % of its weight",
    "lessons-day": "would have {figure} lessons on {day}",
    "minutes-day": "would work {figure} minutes on {day}, short waits counted",
    "minutes-week": "would work {figure} minutes in seven days",
    "rest": "would rest {figure} minutes between two lessons",
    "in-a-row": "would go {figure} lessons in a row without a rest",
    "days-in-a-row": "would work {figure} days in a row",
    "day-off": "has {day} off",
    "jumping-day": "would have {figure} jumping lessons on {day}",
    "jumping-week": "would jump on {figure} days in seven",
    "jumping-running": "would jump on {figure} days in a row",
    "efforts": "would have {figure} jumping efforts on {day}",
    "efforts-high": "would have {figure} jumping efforts on {day} over high fences",
    "young-jumping": "is {figure} and would jump",
    "old-jumping": "is {figure} and would jump",
    "heat": "would go in a heat of {figure} (degrees Fahrenheit and humidity added)",
}


def number(value: float) -> str:
    """Write a figure without needless decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def hit_words(hit: Hit, day: str) -> str:
    """Return what a hit says of its horse, for those who may see its figures.

    A warning says "better", so that nobody takes it for a refusal or the other way.
    """
    rule = RULE[hit.rule]
    says = _SAYS[hit.rule].format(figure=number(hit.figure), day=day)
    if hit.rule == "day-off":
        return f"{says} ({hit.source})"
    unit = " %" if rule.unit == "%" else ""
    side = "at least" if rule.at_least else "at most"
    if not hit.refuses:
        side = f"better {side}"
    return f"{says}; {side} {number(hit.limit)}{unit} ({hit.source})"
