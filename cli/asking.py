"""The conversation of `tellmark identify`: one question at a time, every answer can be taken back."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import click

from ..identify.arrays import MISSING
from ..identify.questions import Question
from ..identify.session import Given, Proposal, Session
from ..identify.start import give
from ..identify.wording import Words, lower_first
from ..kb.answers import meant
from ..kb.findings import Unreadable, nearest
from ..kb.reading import Between, CannotTell, Gone, Reading, Seen, example, read_reading
from ..kb.values import Answer
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


@dataclass
class Asking:
    """The state of the conversation. `family` is the one named on the command line."""

    session: Session
    words: Words
    family: str | None
    done: bool = False

    def run(self) -> Session:
        """Asks until the target is settled, nothing is left to ask, or the person stops."""
        click.echo(LEGEND)
        while not self.done:
            proposal = self.session.next
            if proposal is None:
                click.echo()
                click.echo(self._why_no_more())
                break
            self.put(proposal)
            self.take(proposal)
        return self.session

    def _why_no_more(self) -> str:
        if self.session.settled:
            return "Settled."
        if not self.session.belief.plausible:
            return "Nothing in the record can show all of this."
        return "Nothing more to ask with what can be seen would change the answer."

    # Putting the question ----------------------------------------------------------------------------------------------

    def put(self, proposal: Proposal) -> None:
        """Shows the question with where to look."""
        question, words = proposal.question, self.words
        view = words.view(question.trait)
        click.echo()
        if self.session.given:
            click.secho(screen.standing(self.session, words), dim=True)
        title = f"{len(self.session.given) + 1}. {words.ask(question)}"
        click.echo(click.style(title, bold=True) + (f"   [{words.view_name(view).lower()}]" if view else ""))
        look = words.look(question.trait)
        for line in screen.wrapped(look, "   ") if look else ():
            click.echo(line)

    def take(self, proposal: Proposal) -> None:
        """Reads what the person types until it is an answer or a change."""
        while True:
            typed = self._prompt("> ")
            if typed is None:
                self.done = True
                return
            if not typed:
                continue
            word = self._command(typed)
            if word is None and ":" in typed:
                if self.volunteer(typed):
                    return
            elif word is None:
                close = nearest(typed.lower(), COMMANDS.values())
                click.echo(
                    f'   found "{typed}", expected one of: {", ".join(COMMANDS.values())}'
                    + (f'; did you mean "{close}"?' if close else "")
                )
            elif self.act(word, proposal):
                return

    def _prompt(self, text: str) -> str | None:
        """A line; None at the end of input."""
        try:
            return str(click.prompt(text, prompt_suffix="", default="", show_default=False)).strip()
        except (click.Abort, EOFError):
            click.echo()
            return None

    def _command(self, typed: str) -> str | None:
        low = " ".join(typed.lower().split())
        if low in COMMANDS:
            return COMMANDS[low]
        begun = [word for word in COMMANDS.values() if len(low) > 2 and word.startswith(low)]
        return begun[0] if len(begun) == 1 else low if low in COMMANDS.values() else None

    def act(self, word: str, proposal: Proposal) -> bool:
        """Carries out a word; True when the question is done with."""
        question = proposal.question
        acts: dict[str, Callable[[], bool]] = {
            "yes": lambda: self.answer(question, yes=True),
            "no": lambda: self.answer(question, yes=False),
            "cannot tell": lambda: self.reading(question.trait, CannotTell()),
            "missing": lambda: self.missing(question.trait),
            "states": lambda: self.states(question.trait),
            "why": lambda: self.why(proposal),
            "back": self.back,
            "change": self.change,
            "stop": self.stop,
        }
        return acts[word]()

    # Answers -----------------------------------------------------------------------------------------------------------

    def answer(self, question: Question, yes: bool) -> bool:
        """Takes yes or no."""
        return self.reading(question.trait, answer_to(self.session, question, yes))

    def reading(self, trait: int, reading: Reading) -> bool:
        """Takes what was seen."""
        self.session = self.session.answer(trait, reading)
        return True

    def missing(self, trait: int) -> bool:
        """The part is not there; a body or a finish cannot be missing."""
        if not self.session.compiled.traits[trait].can_be_missing:
            click.echo("   That is no separate part; answer no, or cannot tell.")
            return False
        return self.reading(trait, Gone())

    def states(self, trait: int) -> bool:
        """Shows all states and takes a choice; for a measured value or a marking, the value itself."""
        reading = self.choose(trait)
        return reading is not None and self.reading(trait, reading)

    def choose(self, trait: int) -> Reading | None:
        """What the person sees there, from all that there is; None when they leave it."""
        record, words = self.words.record(trait), self.words
        if record is not None and not record.states:
            what = "the text, ? for what cannot be read" if record.marking else f"a value such as {example(words.unit(trait))}"
            return self._read(trait, self._prompt(f"   {what} > "))
        named = [state for state in self.session.compiled.traits[trait].states if state != MISSING]
        for number, state in enumerate(named, 1):
            click.echo(f"   {number:>2}  {words.state(trait, state)}")
        click.echo("    0  none of these")
        typed = self._prompt("   number, or several with commas > ")
        if not typed:
            return None
        numbers = [piece.strip() for piece in typed.split(",")]
        if not all(piece.isdigit() and int(piece) <= len(named) for piece in numbers):
            click.echo(f'   found "{typed}", expected numbers from 0 to {len(named)}')
            return None
        return Seen(frozenset(named[int(piece) - 1] for piece in numbers if int(piece) > 0))

    def _read(self, trait: int, typed: str | None) -> Reading | None:
        record = self.words.record(trait)
        if not typed or record is None:
            return None
        try:
            return read_reading(Answer.model_validate({"is": typed}), record)
        except Unreadable as problem:
            click.echo(f"   found {problem.found}, expected {problem.expected}")
            return None

    def volunteer(self, typed: str) -> bool:
        """`trait: what you see`, about anything."""
        key, _, said = typed.partition(":")
        try:
            asked = meant(self.words.entries, self.family, key.strip())
            readings = [(one, read_reading(Answer.model_validate({"is": said.strip()}), one.trait)) for one in asked if one.trait]
        except Unreadable as problem:
            near = f'; did you mean "{problem.nearest}"?' if problem.nearest else ""
            click.echo(f"   found {problem.found}, expected {problem.expected}{near}")
            return False
        for one, reading in readings:
            self.session = give(self.session, one, reading)
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
        if not typed or not typed.isdigit() or not 1 <= int(typed) <= len(self.session.given):
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
        click.echo(f"   It is worth {worth}; nothing else is worth more for its effort.")
        for yes in (True, False):
            after = self.session.answer(proposal.question.trait, answer_to(self.session, proposal.question, yes))
            click.echo(f"   {'Yes' if yes else 'No'}: {lower_first(screen.standing(after, self.words))}")
        return False


def answer_to(session: Session, question: Question, yes: bool) -> Reading:
    """What yes or no to a question says of its trait."""
    trait = session.compiled.traits[question.trait]
    if question.cut is not None:
        return Between(question.cut, float("inf")) if yes else Between(float("-inf"), question.cut)
    return Seen(frozenset(trait.states[k] for k in question.outcomes[0 if yes else 1]))


def described(words: Words, one: Given) -> str:
    """An answer in words."""
    return f"{words.trait(one.trait)}: {words.reading(one.trait, one.reading)}"


def ask_all(session: Session, words: Words, family: str | None) -> Session:
    """Runs the conversation."""
    return Asking(session, words, family).run()


__all__: Sequence[str] = ["Asking", "answer_to", "ask_all", "described"]
