"""The control over the learner's own record: where it lies, how far one is, and what to do with it.

Handlers are methods with names, so that a test calls them and not a click.
"""

import ipywidgets as widgets

from lessons.exercises.control_frame import STYLE, ControlBox, button, own, prose, side_by_side
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.progress import changed_text
from lessons.exercises.record_actions import act, delete, record_text, state_lines, take_in


class RecordControl(ControlBox):
    """Show a record, and take it away, in, or out of the world.

    >>> control = RecordControl(LearnerRecord())
    >>> control.label.value = "7"
    >>> control.name()
    >>> "<b>Label</b>: 7." in control.reply.value
    True
    """

    def __init__(self, record: LearnerRecord) -> None:
        self.record = record
        super().__init__(record_text(record), whole_words=True)
        self.state = widgets.HTML()
        self.reply = widgets.HTML()
        self.label = self._text("Label", "a name or a number", "What your record is called")
        self.folder = self._text("Folder", "empty: beside this notebook", "Where files go")
        self.upload = own(widgets.FileUpload(
            accept=".json", description="Choose a file", tooltip="A file made by Hand in",
            layout=widgets.Layout(width="auto")))
        self.delete_row = side_by_side([])
        self.children = [
            self.state,
            side_by_side([self.label, self._button("Set label", "Call it so", self.name)]),
            side_by_side([
                self.folder,
                self._button("Report", "One page to print, HTML", self.report),
                self._button("Table", "Every action as a table, CSV", self.table),
                self._button("Hand in", "One file to hand in or to go on with", self.hand_in),
            ]),
            side_by_side([
                self.upload,
                self._button("Take in", "Go on from a file of another machine", self.take_in),
            ]),
            self.reply,
            self.delete_row,
        ]
        self.delete_row.add_class("lkx-apart")
        self.keep()
        self.reply.value = ""

    @staticmethod
    def _text(name: str, placeholder: str, tooltip: str) -> widgets.Text:
        # Told once it is left: a letter at a time, the press of a button would go past the last.
        return own(widgets.Text(
            description=name, placeholder=placeholder, tooltip=tooltip, continuous_update=False,
            style={"description_width": "72px"}, layout=widgets.Layout(width="320px")))

    def _button(self, text: str, tooltip: str, action, style: str = "") -> widgets.Button:
        return button(text, tooltip, action, self, style)

    def _say(self, words: str) -> None:
        first, colon, rest = words.partition(":")
        said = prose(words)
        if colon:
            said = f"<b>{prose(first)}</b>:{prose(rest)}"
        self.reply.value = (
            f'<div class="lkx-reply" role="status" aria-live="polite">{said}</div>')
        self._draw()

    def _draw(self) -> None:
        heading, where, *others = map(prose, state_lines(self.record))
        changed = prose(changed_text(self.record.attempts()))
        if changed:
            changed = f"<details><summary>What has changed</summary><p>{changed}</p></details>"
        self.state.value = (
            f'<style>{STYLE}</style><div class="lkx-text"><h4>{heading}</h4><p>{where}</p>'
            f"<p>{'<br>'.join(others)}</p>{changed}</div>")

    def _act(self, action: str, value: object) -> None:
        self._say(act(self.record, action, value))

    def name(self) -> None:
        """Give the record its label."""
        self._act("label", self.label.value)

    def report(self) -> None:
        """Write the page."""
        self._act("report", self.folder.value)

    def table(self) -> None:
        """Write the table."""
        self._act("table", self.folder.value)

    def hand_in(self) -> None:
        """Write the file to hand in."""
        self._act("hand in", self.folder.value)

    def take_in(self) -> None:
        """Take in the file that was chosen."""
        if not self.upload.value:
            self._say("Nothing taken in: choose a file that was made by Hand in.")
            return
        content = bytes(self.upload.value[0]["content"])
        self._say(take_in(self.record, content.decode("utf-8", errors="replace")))

    def ask_to_delete(self) -> None:
        """Ask before anything is deleted."""
        self.counted = len(self.record.attempts())
        self.delete_row.children = [
            self._button(f"Delete for good, actions: {self.counted}", "There is no way back",
                         self.delete, "danger"),
            self._button("Keep them", "Nothing is deleted", self.keep),
        ]

    def keep(self) -> None:
        """Go back to where nothing is asked."""
        self.delete_row.children = [
            self._button("Delete my record", "Asks before it deletes", self.ask_to_delete)]
        self._say("Kept: nothing was deleted.")

    def delete(self) -> None:
        """Delete the record."""
        said = delete(self.record, self.counted)
        self.keep()
        self._say(said)
