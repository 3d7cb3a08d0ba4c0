"""The conversation of `tellmark identify`: one question at a time, every answer can be taken back."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import click
from pydantic import ValidationError

from ..identify.arrays import MISSING
from ..identify.given import Given
from ..identify.marking import fit
from ..identify.questions import Question
from ..identify.session import Proposal, Session
from ..identify.start import give
from ..identify.wording import Words, lower_first
from ..kb.findings import BadInput, Unreadable, nearest
from ..kb.models import AnswersFile
from ..kb.reading import Between, CannotTell, Gone, Reading, Seen, Typed, example, read_reading
from ..kb.values import ANSWER_FORMS, Answer
from ..kb.yaml_text import read
from . import screen

COMMANDS = {
    "y": "yes",
    "n": "no",
    "c": "cannot tell",
    "m": "missing",
    "s": "states",
    "w": "why",
    "b": "back",
    "h": "change",
    "x": "stop",
}
LEGEND = """\
y yes   n no   c cannot tell   m missing   s show all states
w why   b back  h change        x stop      or  trait: what you see"""

#: A typed text that fits no recorded marking better than this is none of them, worn characters and all.
UNHEARD_OF = 5e-5
#: The forms of question that are answered by something else than yes or no.
WHOLE = {"choice": "type the number of what you see", "value": "type what you measure", "reading": "type what you can read"}
#: What a person may type, where the states do not show it.
ANSWERS = {
    "value": "Type the value, such as {example}.",
    "reading": "Type what can be read, ? for each character that cannot.",
}


@dataclass
class Asking:
    """The state of the conversation. `family` is the one named on the command line, or the slot type of a loose part."""

    session: Session
    words: Words
    family: str | None
    done: bool = False
    warned: list[str] = field(default_factory=list)

    def run(self) -> Session:
        """Asks until the target is settled and no part in doubt, nothing is left to ask, or the person stops."""
        click.echo(LEGEND)
        while not self.done:
            proposal = self.session.to_ask
            if proposal is not None:
                self.put(proposal)
                self.take(proposal)
            elif not self.session.belief.plausible:
                self.say("")
                self.say("Nothing in the record can show all of this: take an answer back (b), change one (h), or stop (x).")
                self.take(None)
            else:
                if not self.session.settled:
                    self.say("")
                    self.say("Nothing more to ask with what can be seen would change the answer.")
                break
        return self.session

    def say(self, text: str, indent: str = "") -> None:
        """A paragraph within the width of the terminal."""
        click.echo("\n".join(screen.wrapped(text, indent)))

    # Putting the question ----------------------------------------------------------------------------------------------

    def put(self, proposal: Proposal) -> None:
        """Shows the question with where to look."""
        question, words = proposal.question, self.words
        view = words.where(words.view(question.trait))
        for caution in words.beware(question.trait):
            if caution not in self.warned:
                self.warned.append(caution)
                click.echo()
                self.say(caution)
        click.echo()
        if self.session.given:
            click.secho("\n".join(screen.wrapped(screen.standing(self.session, words), "")), dim=True)
        title = f"{len(self.session.given) + 1}. {words.ask(question)}"
        click.echo(click.style(title, bold=True) + (f"   [{view}]" if view else ""))
        if self.session.settled:
            slot = self.words.slot(self.session.compiled.slots[self.session.compiled.traits[question.trait].slot].id)
            self.say(
                f"The {words.noun} is settled. One more, since this may not be the part it left the factory with: {slot}.", "   "
            )
        if self.session.look_of(question):
            self.say(self._said_before(question), "   ")
        look = words.look(question.trait)
        for line in screen.wrapped(look, "   ") if look else ():
            click.echo(line)
        if not self.session.leads(self.session.compiled.traits[question.trait]):
            self.say(f"m where the {words.thing} has no such thing at all.", "   ")
        if question.form == "choice":
            self.show_states(question.trait)
        elif question.form in ANSWERS:
            self.say(ANSWERS[question.form].format(example=example(words.unit(question.trait))), "   ")

    def _said_before(self, question: Question) -> str:
        """What was answered, and why it is worth another look."""
        said = "; ".join(self.words.reading(one.trait, one.reading) for one in self.session.given if one.trait == question.trait)
        chance = max((one.chance for one in self.session.doubts if one.trait == question.trait and one.looks_wrong), default=0.0)
        if chance:
            return f"You said: {said}. The other answers speak against it: it is wrong with a chance of {screen.percent(chance)}."
        if self.session.settled:
            return f"You said: {said}."
        return f"You said: {said}. Nothing new is left to ask, and much rests on this."

    def take(self, proposal: Proposal | None) -> None:
        """Reads what the person types until it is an answer or a change. Without a question there is none to answer."""
        while not self.done:
            typed = self._prompt("> ")
            word = self._command(typed)
            if word is not None and (proposal is not None or word in ("back", "change", "stop")):
                if self.act(word, proposal):
                    return
            elif word is None and ":" in typed:
                if self.volunteer(typed):
                    return
            elif typed and proposal is not None and proposal.question.form in WHOLE:
                if self.whole(proposal.question, typed):
                    return
            elif typed:
                close = nearest(typed.lower(), COMMANDS.values())
                hint = f'; did you mean "{close}"?' if close else ""
                self.say(f'found "{typed}", expected one of: {", ".join(COMMANDS.values())}; or trait: what you see{hint}', "   ")

    def _prompt(self, text: str) -> str:
        """A line; at the end of input, nothing, and the conversation is done."""
        try:
            return str(click.prompt(text, prompt_suffix="", default="", show_default=False)).strip()
        except (click.Abort, EOFError):
            click.echo()
            self.done = True
            return ""

    def _command(self, typed: str) -> str | None:
        low = " ".join(typed.lower().split())
        low = {"q": "x", "quit": "x", "exit": "x"}.get(low, low)
        if low in COMMANDS:
            return COMMANDS[low]
        if low in ("?", "help"):
            click.echo(LEGEND)
            return None
        begun = [word for word in COMMANDS.values() if len(low) > 1 and word.startswith(low)]
        return begun[0] if len(begun) == 1 else None

    def act(self, word: str, proposal: Proposal | None) -> bool:
        """Carries out a word; True when the question is done with."""
        if word in ("back", "change", "stop"):
            return {"back": self.back, "change": self.change, "stop": self.stop}[word]()
        assert proposal is not None
        question = proposal.question
        if question.form in WHOLE and word in ("yes", "no"):
            self.say(f"Neither yes nor no answers this: {WHOLE[question.form]}, or c when you cannot tell.", "   ")
            return False
        acts: dict[str, Callable[[], bool]] = {
            "yes": lambda: self.answer(question, yes=True),
            "no": lambda: self.answer(question, yes=False),
            "cannot tell": lambda: self.reading(question.trait, CannotTell()),
            "missing": lambda: self.missing(question.trait),
            "states": lambda: self.states(question.trait),
            "why": lambda: self.why(proposal),
        }
        return acts[word]()

    # Answers -----------------------------------------------------------------------------------------------------------

    def answer(self, question: Question, yes: bool) -> bool:
        """Takes yes or no."""
        self.session = self.session.reply(question, answer_to(self.session, question, yes))
        return True

    def whole(self, question: Question, typed: str) -> bool:
        """Takes what is seen of the whole trait: numbers of states, a value, or a text."""
        if question.form == "reading" and (near := nearest(typed.lower(), COMMANDS.values())):
            self.say(f'did you mean "{near}"? If it is what you read, type {self.words.key(question.trait)}: {typed}', "   ")
            return False
        chosen = self._numbered if question.form == "choice" else self._read
        reading = chosen(question.trait, typed)
        return reading is not None and self.reading(question.trait, reading)

    def reading(self, trait: int, reading: Reading) -> bool:
        """Takes what was seen."""
        self.session = self.session.answer(trait, reading)
        self.unheard_of(trait, reading)
        return True

    def unheard_of(self, trait: int, reading: Reading) -> None:
        """Says so when nothing that is recorded reads like a typed text."""
        states = [state for state in self.session.compiled.traits[trait].states if state != MISSING]
        if not isinstance(reading, Typed) or not states:
            return
        worn = self.session.compiled.traits[trait].worn
        if max(fit(reading.text, state, worn) for state in states) < UNHEARD_OF:
            near = nearest(reading.text, states)
            hint = f'; the nearest is "{near}"' if near else ""
            self.say(f'Nothing recorded reads "{reading.text}"{hint}. b takes it back.', "   ")

    def missing(self, trait: int) -> bool:
        """The part is not there; a body or a finish cannot be missing."""
        if not self.session.compiled.traits[trait].can_be_missing:
            click.echo("   Nothing can be missing there; answer no, or cannot tell.")
            return False
        return self.reading(trait, Gone())

    def states(self, trait: int) -> bool:
        """Shows all states and takes a choice; for a measured value or a marking, the value itself."""
        reading = self.choose(trait)
        if reading is None:
            return False
        self.session = self.session.tell(trait, reading)
        return True

    def choose(self, trait: int) -> Reading | None:
        """What the person sees there, from all that there is; None when they leave it."""
        record, words = self.words.record(trait), self.words
        if record is not None and not record.states:
            what = "the text, ? for what cannot be read" if record.marking else f"a value such as {example(words.unit(trait))}"
            typed = self._prompt(f"   {what} > ")
            return self._without_state(trait, typed) or self._read(trait, typed)
        self.show_states(trait)
        typed = self._prompt("   number, or several with commas > ")
        aside = self._without_state(trait, typed)
        return aside if not typed or aside is not None else self._numbered(trait, typed)

    def show_states(self, trait: int) -> None:
        """Lists the states with their numbers."""
        for number, state in enumerate(self._named(trait), 1):
            click.echo(f"   {number:>2}  {self.words.state(trait, state)}")
        if not self.session.compiled.traits[trait].at_once:
            click.echo("    0  none of these")

    def _named(self, trait: int) -> list[str]:
        return [state for state in self.session.compiled.traits[trait].states if state != MISSING]

    def _numbered(self, trait: int, typed: str) -> Reading | None:
        """The states of these numbers; or a state by its name."""
        named = self._named(trait)
        called = {text.lower(): state for state in named for text in (state, self.words.state(trait, state))}
        if typed.lower() in called:
            return Seen(frozenset({called[typed.lower()]}))
        numbers = [piece.strip() for piece in typed.split(",")]
        if not all(piece.isdecimal() and int(piece) <= len(named) for piece in numbers):
            close = nearest(typed.lower(), called)
            hint = f'; did you mean "{close}"?' if close else ""
            click.echo(f'   found "{typed}", expected numbers from 0 to {len(named)}{hint}')
            return None
        return Seen(frozenset(named[int(piece) - 1] for piece in numbers if int(piece) > 0))

    def _without_state(self, trait: int, typed: str) -> Reading | None:
        """That one cannot tell, or that the part is missing, in the place of a state."""
        word = self._command(typed)
        if word == "missing" and self.session.compiled.traits[trait].can_be_missing:
            return Gone()
        return CannotTell() if word == "cannot tell" else None

    def _read(self, trait: int, typed: str) -> Reading | None:
        record = self.words.record(trait)
        if not typed or record is None:
            return None
        try:
            return read_reading(Answer.model_validate({"is": typed}), record)
        except Unreadable as problem:
            click.echo(f"   found {problem.found}, expected {problem.expected}")
            return None

    def volunteer(self, typed: str) -> bool:
        """`trait: what you see`, about anything; as an answers file would have it, in the place of earlier answers to it."""
        key, _, said = typed.partition(":")
        try:
            plain = read(said.strip() or "''", "what you typed")
            answer = AnswersFile.model_validate({"answers": {key.strip(): plain}}).answers[key.strip()]
        except (BadInput, ValidationError):
            self.say(f'found "{said.strip()}", expected {ANSWER_FORMS}', "   ")
            return False
        readings, problems = self.words.read(self.family, {key.strip(): answer})
        for _, problem in problems:
            near = f'; did you mean "{problem.nearest}"?' if problem.nearest else ""
            self.say(f"found {problem.found}, expected {problem.expected}{near}", "   ")
        for one, reading in readings:
            self.session = give(self.session, one, reading, told=True)
            if self.session.given:
                self.unheard_of(self.session.given[-1].trait, reading)
        return bool(readings)

    # Going back --------------------------------------------------------------------------------------------------------

    def back(self) -> bool:
        """Takes the last answer back."""
        if not self.session.given:
            click.echo("   This is the first question.")
            return False
        self.session = self.session.back()
        return True

    def change(self) -> bool:
        """Lists the answers and takes another one in the place of one of them."""
        if not self.session.given:
            click.echo("   There is no answer to change yet.")
            return False
        for number, one in enumerate(self.session.given, 1):
            click.echo(f"   {number:>2}  {described(self.words, one)}")
        typed = self._prompt("   which one > ")
        if not typed.isdigit() or not 1 <= int(typed) <= len(self.session.given):
            return False
        index = int(typed) - 1
        reading = self.choose(self.session.given[index].trait)
        if reading is None:
            return False
        self.session = self.session.change(index, reading)
        return True

    def stop(self) -> bool:
        """Ends the conversation."""
        self.done = True
        return True

    def why(self, proposal: Proposal) -> bool:
        """What the question is worth, and what each answer would leave."""
        worth = f"{proposal.bits:.2f} bits for an effort of {proposal.effort:g}"
        self.say(f"It is worth {worth}. {self._reason(proposal)}", "   ")
        for yes in (True, False) if proposal.question.form not in WHOLE else ():
            after = self.session.reply(proposal.question, answer_to(self.session, proposal.question, yes))
            self.say(f"{'Yes' if yes else 'No'}: {lower_first(screen.standing(after, self.words))}", "   ")
        return False

    def _reason(self, proposal: Proposal) -> str:
        """Why this question and no other."""
        if self.session.settled:
            return "It tells most whether that part was changed."
        if proposal.question.form == "again":
            return "Looking again at this tells more for its effort than any new question."
        if proposal.value >= self.session.proposals[0].value - 1e-9:
            return "Nothing else is worth more for its effort."
        return "With what is asked after it, it leads to the answer with the least effort."


def answer_to(session: Session, question: Question, yes: bool) -> Reading:
    """What yes or no to a question says of its trait."""
    trait = session.compiled.traits[question.trait]
    if question.cut is not None:
        return Between(question.cut, float("inf")) if yes else Between(float("-inf"), question.cut)
    return Seen(frozenset(trait.states[k] for k in question.outcomes[0 if yes else 1]))


def described(words: Words, one: Given) -> str:
    """An answer in words."""
    look = "   (second look)" if one.look else ""
    return f"{words.trait(one.trait)}: {words.reading(one.trait, one.reading)}{look}"


def ask_all(session: Session, words: Words, family: str | None) -> Session:
    """Runs the conversation."""
    return Asking(session, words, family).run()


__all__: Sequence[str] = ["Asking", "answer_to", "ask_all", "described"]
