"""The review in JupyterLab: a thin window on ``cmjlab.review.session.Review``.

Everything is reached with Tab in the order of the work: keys, jump, reason, decision, move.
In the field "Keys" single letters act at once, so that a season can be reviewed without a
mouse; the letters stand beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from cmjlab.catalog import EVENT_LABELS, MOVABLE_EVENTS
from cmjlab.errors import CmjlabError
from cmjlab.extras import optional
from cmjlab.review import page
from cmjlab.review.session import WHICH_JUMPS, Review

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Suggestions; any other words may be typed.
REASONS = (
    "looks as it should",
    "not a countermovement jump",
    "arms not on the hips",
    "moved during weighing",
    "landed outside the plates",
    "athlete reports pain: void",
    "event misplaced by the rules",
)
KEYS = {
    "n": "next",
    "p": "previous",
    "a": "accept",
    "r": "reject",
    "u": "undo the verdict",
    "e": "show the effect of the move",
    "m": "move the event",
    "d": "undo the move",
}


def review_jumps(study: Study, *, who: str = "", show: str = "all") -> Any:
    """Show a review of a study's jumps in a notebook.

    Every decision is written to decisions.csv at once. The same without a notebook:
    :class:`cmjlab.Review`.

    Parameters
    ----------
    study : Study
        An opened study.
    who : str, optional
        Coded id of the person who decides; can be typed in the window too.
    show : str
        Which jumps at first: "all", "flagged", "left_out", "undecided" or "decided".

    Returns
    -------
    ipywidgets.VBox
        The window; its attribute ``panel`` holds the :class:`Panel`.

    Raises
    ------
    MissingExtraError
        The extra ``lab`` (ipywidgets) is not installed.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study(mini=True))
    >>> window = cj.review_jumps(study, who="T1", show="flagged")
    >>> type(window).__name__
    'VBox'
    """
    panel = Panel(Review(study, who=who, show=show))
    box = panel.box
    box.panel = panel
    return box


def _widgets() -> Any:
    return optional(
        "ipywidgets",
        extra="lab",
        purpose="the review window needs",
        otherwise="Without it use cmjlab.Review.",
    )


class Panel:
    """The controls of a review, wired to it.

    Attributes
    ----------
    review : Review
    box : ipywidgets.VBox
        What a notebook shows.
    controls : dict of str to widget
        By name: keys, show, jump, previous, next, who, reason, accept, reject, undo, event,
        time, effect, move, undo_move.
    """

    def __init__(self, review: Review) -> None:
        self.review = review
        self._w = _widgets()
        self._busy = False
        self.controls: dict[str, Any] = {}
        self.heading, self.message, self.picture, self.flags, self.moved, self.log = (
            self._w.HTML() for _ in range(6)
        )
        self._make_controls()
        self.box = self._laid_out()
        self._wire()
        self.draw()

    # ---- controls --------------------------------------------------------------------------

    def _make_controls(self) -> None:
        w, own = self._w, self.controls
        wide = w.Layout(width="34em")
        narrow = w.Layout(width="16em")
        style = {"description_width": "5em"}
        own["keys"] = w.Text(
            description="Keys", placeholder="letters act at once", layout=narrow, style=style
        )
        own["show"] = w.Dropdown(
            description="Show",
            options=[(s.replace("_", " "), s) for s in WHICH_JUMPS],
            value=self.review.show,
            layout=narrow,
            style=style,
        )
        own["jump"] = w.Dropdown(description="Jump", layout=wide, style=style)
        own["who"] = w.Text(
            description="Who", value=self.review.who, placeholder="coded id", layout=narrow,
            style=style,
        )  # fmt: skip
        own["reason"] = w.Combobox(
            description="Reason", options=REASONS, placeholder="choose or type why",
            ensure_option=False, layout=wide, style=style, continuous_update=True,
        )  # fmt: skip
        own["event"] = w.Dropdown(
            description="Event", options=[(EVENT_LABELS[e], e) for e in MOVABLE_EVENTS],
            value="onset", layout=narrow, style=style,
        )  # fmt: skip
        own["time"] = w.FloatText(
            description="Time (s)", layout=narrow, style=style, continuous_update=True
        )
        for name, words, tip in (
            ("previous", "Previous (p)", "Go to the jump before"),
            ("next", "Next (n)", "Go to the next jump"),
            ("accept", "Accept (a)", "Use this jump whatever the rules say"),
            ("reject", "Reject (r)", "Do not use this jump"),
            ("undo", "Undo verdict (u)", "Take back the verdict on this jump"),
            ("effect", "Show effect (e)", "What the move would change; nothing is written"),
            ("move", "Move event (m)", "Fix the event at this time"),
            ("undo_move", "Undo move (d)", "Let the rules place the event again"),
        ):
            own[name] = w.Button(description=words, tooltip=tip, layout=w.Layout(width="11em"))

    def _laid_out(self) -> Any:
        w, own = self._w, self.controls

        def row(*names: str) -> Any:
            return w.HBox([own[n] for n in names], layout=w.Layout(flex_flow="row wrap"))

        letters = ", ".join(f"<kbd>{k}</kbd> {words}" for k, words in KEYS.items())
        help_text = w.HTML(f"<small>{letters}. Tab goes through everything.</small>")
        return w.VBox(
            [
                row("keys", "show", "jump"),
                help_text,
                row("previous", "next"),
                self.heading,
                self.message,
                row("who", "reason"),
                row("accept", "reject", "undo"),
                row("event", "time"),
                row("effect", "move", "undo_move"),
                self.moved,
                self.picture,
                self.flags,
                self.log,
            ]
        )

    def _wire(self) -> None:
        for name in ("previous", "next", "accept", "reject", "undo", "effect", "move", "undo_move"):
            self.controls[name].on_click(self._presser(name))
        self.controls["keys"].observe(self._on_key, names="value")
        self.controls["show"].observe(self._on_show, names="value")
        self.controls["jump"].observe(self._on_jump, names="value")
        self.controls["event"].observe(lambda change: self._place_event(), names="value")
        self.controls["who"].observe(self._on_who, names="value")

    def _presser(self, name: str) -> Callable[[Any], None]:
        return lambda button: self.act(name)

    # ---- drawing ---------------------------------------------------------------------------

    def draw(self, message: str = "", *, bad: bool = False, figure: bool = True) -> None:
        """Show the jump as the study stands now."""
        self.message.value = page.message(message, bad=bad) if message else ""
        self._busy = True
        try:
            self._list_jumps()
            if not len(self.review):
                for part in (self.heading, self.picture, self.flags, self.moved, self.log):
                    part.value = ""
                self.heading.value = page.message(f"No jump is {self._shown_words()}.")
                return
            self.heading.value = page.heading(self.review)
            self.flags.value = page.flags_table(self.review)
            self.log.value = page.log_table(self.review)
            if figure:
                self.picture.value = page.picture(self.review)
                self._draw_moves()
                self._place_event()
        finally:
            self._busy = False

    def _shown_words(self) -> str:
        return self.review.show.replace("_", " ")

    def _list_jumps(self) -> None:
        names = tuple((f"{f}, jump {j}", i) for i, (f, j) in enumerate(self.review.keys))
        own = self.controls["jump"]
        if tuple(own.options) != names:
            own.options = names
        if names:
            own.value = self.review.place

    def _draw_moves(self) -> None:
        moved = str(self.review.row["moved_events"])
        self.moved.value = ""
        if moved and self.review.jump is not None:
            words = ", ".join(EVENT_LABELS[e] for e in moved.split(";"))
            self.moved.value = page.effect_table(
                self.review.effect(), f"Moved by hand ({words}): against the rules"
            )

    def _place_event(self) -> None:
        """Put the present time of the chosen event into the field, one sample a step."""
        jump = self.review.jump if len(self.review) else None
        if jump is None:
            return
        now = jump.events[self.controls["event"].value]
        own = self.controls["time"]
        own.step = round(1.0 / jump.recording.rate_hz, 6)
        if now == now:
            own.value = round(now, 4)

    # ---- acting ----------------------------------------------------------------------------

    def _on_key(self, change: Any) -> None:
        text = str(change["new"]).strip().lower()
        if not text:
            return
        self.controls["keys"].value = ""
        names = dict(zip(KEYS, ("next", "previous", "accept", "reject", "undo", "effect", "move",
                                "undo_move"), strict=True))  # fmt: skip
        if text[-1] in names:
            self.act(names[text[-1]])
        else:
            self.message.value = page.message(f"no key {text[-1]}", bad=True)

    def _on_show(self, change: Any) -> None:
        self.review.choose(change["new"])
        self.draw(f"{len(self.review)} jump(s): {self._shown_words()}")

    def _on_jump(self, change: Any) -> None:
        if not self._busy and change["new"] is not None:
            self.review.go(change["new"])
            self.draw()

    def _on_who(self, change: Any) -> None:
        self.review.who = str(change["new"]).strip()

    def act(self, name: str) -> None:
        """Do what a button or key stands for; what goes wrong is said in the window."""
        if self._busy:
            return
        try:
            getattr(self, f"_act_{name}")()
        except CmjlabError as error:
            self.message.value = page.message(str(error), bad=True)

    def _reason(self) -> str:
        return str(self.controls["reason"].value)

    def _act_next(self) -> None:
        at_end = self.review.place + 1 >= len(self.review)
        self.review.next()
        self.draw("This is the last jump." if at_end else "")

    def _act_previous(self) -> None:
        at_start = self.review.place == 0
        self.review.previous()
        self.draw("This is the first jump." if at_start else "")

    def _act_accept(self) -> None:
        self.draw(f"Written: {self.review.accept(self._reason())}", figure=False)

    def _act_reject(self) -> None:
        self.draw(f"Written: {self.review.reject(self._reason())}", figure=False)

    def _act_undo(self) -> None:
        self.draw(f"Written: {self.review.undo(self._reason())}", figure=False)

    def _event(self) -> tuple[str, float]:
        return str(self.controls["event"].value), float(self.controls["time"].value)

    def _act_effect(self) -> None:
        event, time_s = self._event()
        words = EVENT_LABELS[event]
        self.moved.value = page.effect_table(
            self.review.effect(event, time_s), f"If {words} were at {time_s:.4f} s"
        )
        self.message.value = page.message("Only shown: nothing has been written.")

    def _act_move(self) -> None:
        event, time_s = self._event()
        self.review.move(event, time_s, reason=self._reason())
        self.draw(f"Written: {EVENT_LABELS[event]} moved to {time_s:.4f} s.")

    def _act_undo_move(self) -> None:
        event, _ = self._event()
        self.review.undo(self._reason(), event)
        self.draw(f"Written: {EVENT_LABELS[event]} is placed by the rules again.")
