"""The rules of a horse's work: what each counts, its usual figures, who says so.

A figure is from what a named source prints (grade a), from the custom of the trade
without a source (b), from memory (c), or the tool's own, laid between sources that
differ. Every school may set its own; a vet's word and local law come before all.
"""

from collections.abc import Mapping
from dataclasses import dataclass

OWN = "the tool's own estimate"

MOST_RUNNING = 6
"""The most days in a row a limit may name: a horse's day is asked with the six before
and after it, so that of a higher limit nothing would ever be said."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """From where a rule warns and where it refuses; None is never."""

    warn: float | None
    refuse: float | None


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule over one number: at most so much, or at least (`at_least`).

    `low` and `high` say between which figures a school may set it; `brief` is the
    source in a few words where it is long.
    """

    name: str
    label: str
    unit: str
    usual: Bounds
    source: str
    grade: str
    low: float
    high: float
    at_least: bool = False
    brief: str = ""

    @property
    def says_who(self) -> str:
        """The source in a few words, with its grade, for the words of a hit."""
        return f"{self.brief or self.source}; {self.grade}"

    def broken(self, figure: float, bound: float | None) -> bool:
        """Say whether a figure lies on the wrong side of a bound."""
        if bound is None:
            return False
        return figure < bound if self.at_least else figure > bound


RULES: tuple[Rule, ...] = (
    Rule(
        "weight",
        "Rider, dressed, and saddle, as a share of the horse's weight",
        "%",
        Bounds(15, 20),
        "Between two trials and a survey that differ: sound at 10 to 15 %, pain signs "
        "from 15 to 18 % under a saddle that did not fit well (a pilot study of six "
        "horses), no difference up to 20 % (Ohio State University, 2008)",
        OWN,
        5,
        30,
        brief="two trials and a survey",
    ),
    Rule(
        "weight-jumping",
        "The same share where the lesson jumps",
        "%",
        Bounds(12.5, 20),
        "The share for riding, warned of earlier",
        OWN,
        5,
        30,
        brief="the share for riding, earlier",
    ),
    Rule(
        "lessons-day",
        "Lessons on a day",
        "lessons",
        Bounds(None, 3),
        "What staff of yards in Britain tell of their own: never more than three a day "
        "(a forum's threads)",
        "a",
        1,
        10,
        brief="staff of yards, in a forum",
    ),
    Rule(
        "minutes-day",
        "Minutes of work on a day",
        "minutes",
        Bounds(120, 180),
        "Swiss schools mostly use a horse two hours a day (Swiss Animal Protection "
        "STS, a); three hours lie between that and the ceiling of six for arena work "
        "(Certified Horsemanship Association)",
        OWN,
        10,
        600,
        brief="between Swiss schools' two hours and a ceiling of six",
    ),
    Rule(
        "minutes-week",
        "Minutes of work in any seven days",
        "minutes",
        Bounds(720, 900),
        "Fifteen hours; the hours of feed tables (NRC 2007) are a week's too, and "
        "less than most school horses go",
        OWN,
        60,
        3000,
        brief="fifteen hours a week",
    ),
    Rule(
        "rest",
        "Minutes of rest between two lessons",
        "minutes",
        Bounds(30, None),
        "Thirty, untacked or the girth loosened; each horse's own figure refuses. "
        "Ten after each hour is the least that Bermuda's rules of 2005 asked for",
        OWN,
        0,
        240,
        at_least=True,
        brief="half an hour untacked",
    ),
    Rule(
        "in-a-row",
        "Lessons in a row without that rest",
        "lessons",
        Bounds(None, 2),
        "Two in a row, then a rest",
        OWN,
        1,
        6,
        brief="two, then a rest",
    ),
    Rule(
        "days-in-a-row",
        "Days of work in a row",
        "days",
        Bounds(None, 6),
        "One full day off in seven (Certified Horsemanship Association); at most six "
        "days running (Bermuda's rules of 2005, as reported)",
        "a",
        1,
        MOST_RUNNING,
        brief="one day off in seven",
    ),
    Rule(
        "day-off",
        "On a day the horse has off",
        "",
        Bounds(None, 0),
        "The weekdays kept free for this horse",
        "the school's own",
        0,
        0,
    ),
    Rule(
        "jumping-day",
        "Jumping lessons on a day",
        "lessons",
        Bounds(1, 2),
        "One a day",
        OWN,
        0,
        6,
        brief="one a day",
    ),
    Rule(
        "jumping-week",
        "Jumping days in any seven",
        "days",
        Bounds(2, 3),
        "The trade's custom: one, at most two real sessions; a general page says two "
        "to three. No study of school horses was found",
        "b",
        0,
        7,
        brief="custom of the trade",
    ),
    Rule(
        "jumping-running",
        "Jumping days in a row",
        "days",
        Bounds(1, 2),
        "Not on days that follow each other",
        OWN,
        1,
        MOST_RUNNING,
        brief="a day between",
    ),
    Rule(
        "efforts",
        "Jumping efforts on a day, fences up to 70 cm",
        "efforts",
        Bounds(32, 40),
        "Forty; a grid of three fences ridden six times after six warm-up jumps is "
        "twenty-four",
        OWN,
        0,
        200,
        brief="forty low fences",
    ),
    Rule(
        "efforts-high",
        "Jumping efforts on a day, fences above 70 cm",
        "efforts",
        Bounds(20, 25),
        "Twenty-five from 80 cm to 1 m",
        OWN,
        0,
        200,
        brief="twenty-five higher fences",
    ),
    Rule(
        "young-jumping",
        "Age of a horse that jumps",
        "years",
        Bounds(5, None),
        "Under saddle from four, grids from five",
        "c, from memory",
        3,
        8,
        at_least=True,
        brief="grids from five",
    ),
    Rule(
        "old-jumping",
        "Age up to which a horse jumps",
        "years",
        Bounds(17, None),
        "No fixed age; yards jump less from sixteen to eighteen on. Soundness decides, "
        "and the vet",
        "b",
        10,
        40,
        brief="custom of the trade",
    ),
    Rule(
        "heat",
        "Heat: degrees Fahrenheit and per cent of humidity added up",
        "",
        Bounds(150, 180),
        "Above 180 extreme caution, sweating hardly cools from 75 % humidity on "
        "(eXtension, US land-grant advice, a); clubs stop at 180, the bands below "
        "differ",
        "a",
        100,
        200,
        brief="US land-grant advice",
    ),
)

RULE = {one.name: one for one in RULES}
"""The rules by their names."""

TACKED_MIN = 15
"""A wait up to so long is work, where a school says nothing else (its own estimate)."""

JUMPS_HIGH_CM = 70
"""Above this the stricter number of efforts counts."""


@dataclass(frozen=True, slots=True)
class House:
    """How a school has set the rules.

    Attributes
    ----------
    bounds
        What differs from the usual, by the rule's name.
    tacked_min
        A gap between two lessons up to so long counts as work: the horse waits
        tacked up (the Certified Horsemanship Association counts changeovers).
    gear_kg
        What clothes, boots, hat and saddle weigh, added to the rider.
    """

    bounds: Mapping[str, Bounds]
    tacked_min: int = TACKED_MIN
    gear_kg: int = 10

    def of(self, name: str) -> Bounds:
        """Return the bounds of a rule as this school has them."""
        return self.bounds.get(name, RULE[name].usual)
