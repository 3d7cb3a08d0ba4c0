"""What a knowledge base may say: every kind of record, and every field of each.

This file is the one schema.  It drives loading, error messages, `tellmark schema`, and the checks of a pull request.
Where a record lies in the folder is in `kb.load`; what must hold between records is in `kb.check`.
"""

from typing import Annotated, Any, Literal, cast

from pydantic import BeforeValidator, Field, StringConstraints

from .values import Citations, Day, Id, Ref, Strict, Weight, WrittenAnswer, WrittenFact, WrittenYears, each, made_of, wrong

Text = Annotated[str, StringConstraints(min_length=1, max_length=20_000)]
Share = Annotated[float, Field(ge=0, le=1)]
FormAddress = Annotated[
    str, StringConstraints(max_length=500, pattern=r"^https://[^\s\"'<>{}]+(\{(file|title|body)\}[^\s\"'<>{}]*)*$")
]
Facts = dict[str, WrittenFact]
Said = Annotated[list[Text], Field(description="how sellers say it, in the language of phrases of `kb.said`")]


class Record(Strict):
    """What every record may carry."""

    name: Text
    about: Text | None = Field(default=None, description="what a reader should know, in sentences (Markdown)")
    sources: Citations = {}
    verified: Day | None = Field(default=None, description="the day somebody last checked the whole record")


class Photograph(Strict):
    """A picture taken with a camera. The file lies in the folder of the entries, as JPEG, PNG or WebP."""

    file: Text = Field(description="path below the root of the entries, such as photographs/424-nose.jpg")
    shows: Text = Field(description="what is to be seen, for those who do not see it too")
    license: Text
    credit: Text = Field(description="who took it, or where it comes from")


# The whole -------------------------------------------------------------------------------------------------------------


class View(Strict):
    """What one must be able to see to judge a trait, and what it takes to get there."""

    name: Text
    effort: float = Field(gt=0, le=100, description="relative to a glance at the side, which is 1")
    loose: float = Field(default=1.0, gt=0, le=100, description="the same for a part that is off its unit, in one's hand")
    how: Text | None = None
    request: Text | None = Field(default=None, description="how a seller is asked to show it; nobody is, where not given")


class Replaced(Strict):
    """How replacements fall out where a slot does not say otherwise; the rest goes to the parts that fit."""

    missing: Share = 0.2
    unlisted: Share = 0.1


Hazard = Literal["mains", "solvent", "lead", "heat", "small-parts", "moving-parts", "dust", "sharp"]


class Caution(Strict):
    """What to say of one hazard, and the tools and consumables that bring it."""

    caution: Text
    brought_by: list[Text] = []


class Asking(Strict):
    """What a form of question takes on top of the effort of its view, in glances."""

    yes_no: float = Field(default=0.0, alias="yes-no", ge=0, le=100, description="is it this one?")
    choice: float = Field(default=0.5, ge=0, le=100, description="which of these pictures is it?")
    value: float = Field(default=2.0, ge=0, le=100, description="measure it")
    reading: float = Field(default=0.5, ge=0, le=100, description="type what can be read")
    again: float = Field(default=0.0, ge=0, le=100, description="look once more at what was answered")


class Wanted(Strict):
    """Something a buyer needs to hear from a seller, and how to ask for it."""

    name: Text = Field(description='what it is, behind "nothing is said of"')
    said_by: list[str] = Field(description="the conditions and hedges that speak of it")
    ask: Text | None = Field(default=None, description="the question to a seller")
    unless: list[Hazard] = Field(default=[], description="not asked where one of these is at hand")
    share: Share = Field(description="how often it is not as one hopes")
    grade: float = Field(le=0, ge=-9, description="what that does to the grade")
    view: Id | None = Field(default=None, description="the view it takes")
    slot: Id | None = Field(default=None, description="the slot a unit must have for it")


class Buying(Strict):
    """What matters to who buys from a description: what it must say, and which conditions speak of changes."""

    wanted: dict[Id, Wanted] = {}
    foreign_part: float = Field(default=-1.0, le=0, ge=-9, description="what a part that does not belong does to the grade")
    original: list[str] = Field(default=[], description="conditions that say that nothing was changed")
    repainted: list[str] = Field(default=[], description="conditions that say that the finish was redone")
    photographs: list[str] = Field(default=[], description="words by which a text speaks of its own photographs")
    questions: int = Field(default=5, ge=1, le=20, description="so many things are asked of a seller at most")


class KnowledgeBase(Strict):
    """`knowledge-base.yaml`: whose it is, and the numbers behind the words."""

    title: Text
    about: Text | None = None
    license: Text
    maintainers: list[Text] = []
    currency: Text = "USD"
    edit_at: FormAddress | None = Field(
        default=None, description="the code host's form to edit a file; {file} is its path below the root of the entries"
    )
    report_at: FormAddress | None = Field(
        default=None, description="the code host's form to report a sighting; {title} and {body} are what it is filled with"
    )
    frequencies: dict[str, Share] = Field(
        default={"always": 1.0, "usual": 0.8, "sometimes": 0.2, "rarely": 0.04}, description="how often a state or part is found"
    )
    scarcity: dict[str, Share] = Field(
        default={"common": 1.0, "uncommon": 0.4, "scarce": 0.15, "rare": 0.05, "never": 0.0},
        description="how many there are; equal weights where nothing is said",
    )
    fastened: dict[str, Share] = Field(
        default={"molded": 0.0, "painted": 0.05, "riveted": 0.04, "clipped": 0.1, "screwed": 0.2},
        description="how often a slot held like this is found changed",
    )
    mistakes: dict[str, Share] = Field(
        default={"plain": 0.01, "fair": 0.03, "tricky": 0.08}, description="how often a reading of a trait names another state"
    )
    replaced: Replaced = Field(default_factory=Replaced)
    not_in_the_record: float = Field(default=0.05, gt=0, lt=1, description="share of units that nobody has recorded yet")
    blunders: float = Field(default=0.02, gt=0, lt=0.5, description="share of measured readings that are nowhere near")
    settled: float = Field(default=0.95, gt=0.5, lt=1, description="stop asking when the leader has this much")
    exceptions: int = Field(
        default=0, ge=0, description="how many sightings may come out otherwise than their verdict; may only fall"
    )
    family_leads: float = Field(default=0.5, ge=0, lt=1, description="ask a family's own traits when it has this much")
    asking: Asking = Field(default_factory=Asking)
    buying: Buying = Field(default_factory=Buying)
    views: dict[Id, View] = {}
    hazards: dict[Hazard, Caution] = {}


class Source(Record):
    """A citation."""

    kind: Literal["catalog", "instructions", "advertisement", "book", "article", "notes", "unit", "interview", "web"]
    author: Text | None = None
    year: int | None = Field(default=None, ge=1800, le=2100)
    where: Text | None = Field(default=None, description="publisher, page, box or address")


class Maker(Record):
    """Who made units or parts."""

    said: Said = []
    place: Text | None = None
    made: WrittenYears | None = None


class Livery(Record):
    """One railroad's paint and lettering; what it `shows` holds for every variant that wears it."""

    said: Said = []
    railroad: Text | None = None
    colors: list[Text] = []
    shows: Facts = {}


# Families --------------------------------------------------------------------------------------------------------------


class State(Strict):
    """One thing a trait can be, and the yes/no question for it."""

    name: Text
    said: Said = []
    ask: Text | None = Field(default=None, description="a plain yes/no question; made from the names where not given")
    about: Text | None = None
    mistaken_for: list[str] = Field(default=[], description="the states it is taken for when it is misread")


def read_state(written: Any) -> Any:
    """A bare text is a state's name."""
    return {"name": written} if isinstance(written, str) else written


class Measured(Strict):
    """A trait with a value one measures."""

    unit: str = ""
    least: float = Field(description="nothing smaller has been seen; bounds the share of blunders")
    most: float
    read_to: float | None = Field(
        default=None, gt=0, description="uncertainty of a careful reading, one standard deviation; else half the usual tolerance"
    )


class Marking(Strict):
    """A trait that one reads and types."""

    worn: float = Field(default=0.05, gt=0, lt=0.5, description="chance that one character is misread or cannot be read")


class Trait(Strict):
    """A feature one can look at: a choice among `states`, a `measured` value, or a `marking`."""

    name: Text
    said: Said = []
    vague: dict[Text, list[Id]] = Field(default={}, description="phrases that fit several of its states, with these")
    slot: Id = Field(default="body", description="the slot whose part shows it; a change of that part changes the trait")
    view: Id
    look: Text | None = Field(default=None, description="where to look")
    ask: Text | None = Field(default=None, description="the question for a measured value, a marking, or a choice of all states")
    mistakes: Weight = "fair"
    states: dict[Id, Annotated[State, BeforeValidator(read_state, json_schema_input_type=str | State)]] | None = None
    measured: Measured | None = None
    marking: Marking | None = None
    changes: Text | None = Field(default=None, description="what becomes of it when the part is swapped or the finish redone")
    about: Text | None = None

    def of_slot(self, slot: str) -> "Trait":
        """The same, of the part in this slot."""
        return made_of(Trait, vars(self) | {"slot": slot}, self.model_fields_set | {"slot"})


class Slot(Strict):
    """A place on the unit.  With a `type` it holds a part of that slot type; without one it is the body or the finish."""

    name: Text
    said: Said = []
    type: Annotated[str, Ref("slot type")] | None = None
    fastened: str = "screwed"
    swapped: Share | None = Field(default=None, description="how often it is found changed, where the fastening does not say it")
    missing: Share | None = Field(default=None, description="share of the changed ones that are simply gone")
    unlisted: Share | None = Field(default=None, description="share of the changed ones that hold a part nobody recorded")
    kinds: list[str] | None = Field(default=None, description="the kinds that have this slot; all where not given")


class Kind(Strict):
    """A role a unit was made for."""

    name: Text
    said: Said = []
    about: Text | None = None
    shows: Facts = {}
    fitted: Facts = {}


class DamageSpot(Strict):
    """A place that is known to break."""

    name: Text
    said: Said = []
    view: Id
    slot: Id = "body"
    how_common: Weight
    found: Text = Field(description="how one notices it")
    grade: float = Field(le=0, ge=-9, description="what it does to the grade, on the 1 to 10 scale")
    mend: Text = Field(description="how it is mended, or that it cannot be")
    procedure: Annotated[str, Ref("procedure")] | None = None
    invisible: bool = Field(description="whether it can be mended so that nobody sees it")
    photographs: list[Photograph] = []


class Family(Record):
    """`family.yaml`: all units that share one body tooling.  What it `shows` holds for every variant."""

    said: Said = []
    maker: Annotated[str, Ref("maker")] | None = None
    made: WrittenYears | None = None
    how_common: Weight = 1.0
    kinds: dict[Id, Kind] = {}
    slots: dict[Id, Slot] = {}
    views: dict[Id, View] = {}
    traits: dict[Id, Trait] = {}
    shows: Facts = {}
    damage: dict[Id, DamageSpot] = {}


class Variant(Strict):
    """What a collector tells apart.  It says only what it knows, and may say what it differs in from the one it is `like`."""

    name: Text | None = None
    about: Text | None = None
    sources: Citations = {}
    verified: Day | None = None
    like: Annotated[str, Ref("variant")] | None = None
    kind: str | None = None
    livery: Annotated[str, Ref("livery")] | None = None
    catalog_number: Text | None = None
    batch: int | None = Field(default=None, ge=1, le=99)
    made: WrittenYears | None = None
    how_common: Weight | None = None
    sold_alone: Weight | None = Field(default=None, description="how common it is outside a set, in words of scarcity")
    shows: Facts = {}
    fitted: Facts = {}
    moved_to: Annotated[str, Ref("variant")] | None = Field(default=None, description="a signpost: this id now lives there")
    split_into: list[Annotated[str, Ref("variant")]] = Field(default=[], description="a signpost: this id became several")
    photographs: list[Photograph] = []

    @property
    def signpost(self) -> bool:
        """Whether the id is kept only to lead somewhere else."""
        return bool(self.moved_to or self.split_into)


def read_variants(written: Any) -> Any:
    """{variant: weight} from one id, a list of ids, or the mapping itself."""
    variants = each(written, 1.0)
    if not isinstance(variants, dict) or not variants:
        raise wrong("a variant, a list of variants, or variants with how often each")
    return cast("Any", variants)


class Position(Strict):
    """One place in a set: which variants sat there, and what was fitted to them there."""

    variants: Annotated[
        dict[Annotated[str, Ref("variant")], Weight],
        BeforeValidator(read_variants, json_schema_input_type=str | list[str] | dict[str, Weight]),
    ]
    fitted: Facts = {}
    about: Text | None = None


class Set(Record):
    """A boxed configuration as sold, its positions in order."""

    said: Said = []
    catalog_number: Text | None = None
    made: WrittenYears | None = None
    how_common: Weight = "common"
    positions: list[Position] = Field(min_length=1, max_length=30)


# Parts and service -----------------------------------------------------------------------------------------------------


class SlotType(Record):
    """`parts/<slot type>/slot-type.yaml`: what parts of this type have in common, and the traits that tell them apart."""

    said: Said = []
    traits: dict[Id, Trait] = {}


class Part(Record):
    """A component that sits in a slot."""

    said: Said = []
    maker: Annotated[str, Ref("maker")] | None = None
    made: WrittenYears | None = None
    how_common: Weight = Field(default="common", description="among the replacements found in the slots it fits")
    shows: Facts = {}
    fits: dict[Annotated[str, Ref("family")], list[str]] = Field(default={}, description="family, and the slots there")
    reproduction_of: Annotated[str, Ref("part")] | None = None
    tell: Text | None = Field(default=None, description="how to tell it from what it copies or resembles")
    cost: float | None = Field(default=None, ge=0, description="of a replacement, in the knowledge base's currency")
    minutes: float | None = Field(default=None, ge=0, le=10_000, description="to replace it")
    photographs: list[Photograph] = []


class Procedure(Record):
    """Steps of service work."""

    serves: list[Annotated[str, Ref("slot type")]] = []
    symptom: Text | None = None
    tools: list[Text] = []
    consumables: list[Text] = []
    hazards: list[Hazard] = []
    minutes: float = Field(gt=0, le=10_000)
    steps: list[Text] = Field(min_length=1)


# What sellers say ------------------------------------------------------------------------------------------------------


#: What a claim is about; a name of a livery, a batch and so on has a sort of its own, and is a "name" where that is not given.
Claimed = Literal[
    "number", "year", "name", "livery", "family", "kind", "batch", "maker", "set",
    "state", "measure", "part", "condition", "defect",
]  # fmt: skip


class Worth(Strict):
    """How far a seller's word is to be trusted: how often a claim of each sort is wrong."""

    wrong: dict[Claimed, Share] = {}
    hedged: Share = Field(default=0.0, description="of what is said with words of doubt, so much is a guess, true or not")


class Negating(Strict):
    """Words that turn what is said around."""

    before: list[Text] = []
    after: list[Text] = []
    answers: list[Text] = Field(default=[], description="the same as the answer to a question: restored? no")
    yes: list[Text] = Field(default=[], description="answers that say it is so")
    joining: list[Text] = Field(default=[], description='words behind a lone "missing" that leave it to what stands before it')
    more: list[Text] = Field(default=[], description="words that carry a negation on to the next thing: or, nor")


class Presence(Strict):
    """Words that make of a slot that is only mentioned a claim that something sits there, or that nothing does."""

    before: list[Text] = []
    after: list[Text] = []
    gone_before: list[Text] = []
    gone_after: list[Text] = []


class Counting(Strict):
    """Numbers, years and batches in words."""

    ordinals: dict[int, list[Text]] = {}
    cardinals: dict[int, list[Text]] = {}
    fractions: dict[int, list[Text]] = Field(default={}, description="what a part of one is called, by how many make one")
    batch: list[Text] = Field(default=[], description='with "_" for its number')
    decades: dict[int, list[Text]] = Field(default={}, description="what the decade from this year is called")
    within: dict[Text, list[int]] = Field(default={}, description="early, mid, late: first and last year of a decade")
    to: list[Text] = Field(default=[], description="what stands between the ends of a range")
    counted: list[Text] = Field(default=[], description="words behind a figure that is a count of something")
    numbered: list[Text] = Field(default=[], description="words before a catalog or road number")


class Money(Strict):
    """How amounts are written, and which are no price."""

    currency: dict[Text, list[Text]] = {}
    asked: list[Text] = Field(default=[], description="words before an amount that is asked")
    asked_after: list[Text] = []
    goes_on: list[Text] = Field(default=[], description="words behind an amount in words with which a sentence opens")
    paid: list[Text] = Field(default=[], description="words before an amount that is no price of this unit now")
    shipping: list[Text] = Field(default=[], description="words that make an amount one of shipping")
    sent: list[Text] = Field(default=[], description="of these, the forms that say that shipping is in the price")


class Dates(Strict):
    """Which years are years of making."""

    year: list[Text] = Field(default=[], description="words before a year of two digits")
    other: list[Text] = Field(default=[], description="words near a year that is not one of making")


class Sellers(Strict):
    """`sellers.yaml`: words of sellers that belong to no record."""

    spelled: dict[Text, list[Text]] = Field(default={}, description="other spellings and abbreviations of a word")
    alike: list[list[Text]] = Field(default=[], description="words that are taken for one another")
    small: list[Text] = Field(default=[], description="words that may stand between the words of a phrase")
    optional: list[Text] = Field(default=[], description="of these, the ones that a phrase may hold and a text leave out")
    plain: list[Text] = Field(default=[], description="everyday words that are never a misspelling of another")
    condition: dict[Id, list[Text]] = {}
    defect: dict[Id, list[Text]] = {}
    shipping: dict[Id, list[Text]] = {}
    hedge: dict[Id, list[Text]] = {}
    describing: list[Id] = Field(default=[], description="conditions whose word, alone, may describe anything that follows it")
    trailing: list[Text] = Field(default=[], description="words that such a word does not describe")
    being: list[Text] = Field(default=[], description="words between a thing and what it is")
    speaking: list[Text] = Field(default=[], description="words behind a person's name that make what follows hearsay")
    asking: list[Text] = Field(default=[], description="words with which a question opens")
    governs_nothing: list[Id] = Field(default=[], description="hedges about the whole sale, which make no claim doubtful")
    idle: list[Text] = Field(default=[], description="phrases that hold a word of a claim and claim nothing")
    loose: list[Text] = Field(default=[], description="words of a text about parts that are off their units")
    negating: Negating = Field(default_factory=Negating)
    presence: Presence = Field(default_factory=Presence)
    counting: Counting = Field(default_factory=Counting)
    money: Money = Field(default_factory=Money)
    dates: Dates = Field(default_factory=Dates)
    units: dict[Text, list[Text]] = Field(default={}, description="how a unit of measure is written")
    grades: list[Text] = Field(default=[], description='a figure out of ten, with "_" for it')
    worth: Worth = Field(default_factory=Worth)


# What was seen and paid ------------------------------------------------------------------------------------------------


class Verdict(Strict):
    """What an examined unit turned out to be."""

    variant: Annotated[str, Ref("variant")] | None = Field(default=None, description="none: not in the record")
    set: Annotated[str, Ref("set")] | None = None
    position: int | None = Field(default=None, ge=1, le=30)
    swapped: list[str] = Field(default=[], description="slots whose part is not the one it left the factory with")


class Sighting(Strict):
    """One examined unit."""

    name: Text | None = None
    seen: Day
    by: Text
    label: Text | None = Field(default=None, description="what the seller called it")
    views: list[str] | None = None
    answers: dict[str, WrittenAnswer] = Field(min_length=1)
    verdict: Verdict
    grade: float | None = Field(default=None, ge=1, le=10)
    evidence: list[Text] = []
    sources: Citations = {}
    exception: Text | None = Field(default=None, description="why the answers alone do not lead to the verdict")
    note: Text | None = None


class Sale(Strict):
    """One dated price: a row of `sales/<year>.csv`."""

    date: Day
    variant: Annotated[str, Ref("variant")] | None = None
    set: Annotated[str, Ref("set")] | None = None
    price: float = Field(ge=0)
    shipping: float | None = Field(default=None, ge=0)
    grade: float | None = Field(default=None, ge=1, le=10)
    complete: Share | None = Field(default=None, description="1: nothing missing")
    place: Text | None = None
    note: Text | None = None


class Description(Strict):
    """What somebody saw of one unit or part."""

    views: list[str] | None = None
    answers: dict[str, WrittenAnswer] = {}


#: In the place of a slot type: a part of any.
ANY_PART = "any"


class UnitDescription(Description):
    """What somebody saw of one unit."""

    family: Annotated[str, Ref("family")] | None = None


class AnswersFile(UnitDescription):
    """What `identify --answers` reads: a unit, or a loose part."""

    part: Annotated[str, Ref("slot type")] | None = Field(
        default=None, description=f'of a loose part, in the place of a family: its slot type, or "{ANY_PART}"'
    )


class LotUnit(UnitDescription):
    """One unit of a lot, described as far as anybody could."""

    name: Text | None = Field(default=None, description="what to call it; its number in the list where not given")


class LotFile(Strict):
    """What `lot` reads."""

    units: list[LotUnit] = Field(min_length=2, max_length=30)
