"""The menu that says with which key certificates are signed, and the key opened."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtGui import QAction, QActionGroup
from PySide6.QtWidgets import QApplication, QInputDialog, QLineEdit, QMenu, QWidget

from valvelab.errors import ValvelabError, WrongUsage
from valvelab.language import marked, say
from valvelab.window.bench import Bench

if TYPE_CHECKING:
    from valvelab.signing.keys import Signer

NO_KEY = marked("No key of your own yet: valvelab key new NAME makes one")


class SigningMenu(QMenu):
    """One's own keys, one of them or none checked; what is checked is remembered."""

    def __init__(self, bench: Bench, parent: QWidget) -> None:
        super().__init__(say("Sign certificates"), parent)
        self.bench = bench
        self.aboutToShow.connect(self.fill)

    def fill(self) -> None:
        """List the keys as they are now."""
        from valvelab.signing.keys import own_keys

        self.clear()
        group = QActionGroup(self)
        self._offer(say("Unsigned"), "", group)
        try:
            names = [key.name for key in own_keys()]
        except ValvelabError as error:
            self.addAction(say(str(error))).setEnabled(False)
            return
        for name in names:
            self._offer(say("With {name}").format(name=name).replace("&", "&&"), name, group)
        if not names:
            self.addAction(say(NO_KEY)).setEnabled(False)

    def _offer(self, text: str, name: str, group: QActionGroup) -> None:
        action = QAction(text, self, checkable=True, checked=self.bench.settings.sign_with == name)
        action.triggered.connect(lambda: self.bench.keep_settings(replace(self.bench.settings, sign_with=name)))
        group.addAction(action)
        self.addAction(action)


def chosen_signer(name: str) -> Signer | None:
    """The key of that name, opened; None where none is named. Raises WrongUsage or BadFile for one that stays shut."""
    if not name:
        return None
    from valvelab.signing.keys import signer

    return signer(name, _asked)


def _asked(name: str) -> str:
    """The passphrase of a locked key; a person is asked."""
    said, given = QInputDialog.getText(
        QApplication.activeWindow(),
        say("Sign certificate"),
        say("Passphrase of {name}:").format(name=name),
        QLineEdit.EchoMode.Password,
    )
    if not given:
        raise WrongUsage(say("Not written: no passphrase was given for {name}").format(name=name))
    return said
