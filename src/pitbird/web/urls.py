"""Every address of pitbird."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView, PasswordChangeView
from django.urls import path

from pitbird.web.api import addresses as api
from pitbird.web.forms.account import PasswordForm
from pitbird.web.views import (
    account,
    attempts,
    book,
    bump,
    calc,
    detectors,
    doubts,
    erasing,
    evidence,
    gas,
    gate,
    health,
    look_back,
    people,
    replacing,
    retention,
    rules,
    seeing,
    serving,
    slips,
    tables,
    wear,
    would,
    write,
)

urlpatterns = [
    path("", gate.gate, name="gate"),
    path("health", health.health, name="health"),
    path("sign-in", account.SignIn.as_view(), name="sign-in"),
    path("sign-out", LogoutView.as_view(), name="logout"),
    path("first-start", account.first_start, name="first-start"),
    path("detectors", detectors.detectors, name="detectors"),
    path("detectors/<str:code>", detectors.detector, name="detector"),
    path("gas", gas.gas, name="gas"),
    path("gas/<str:code>", gas.cylinder, name="cylinder"),
    path("gas/<str:code>/serves/<str:detector>", serving.serves, name="serves"),
    path("people", people.people, name="people"),
    path("people/<str:code>", people.person, name="person"),
    path("people/<str:code>/account", account.let_in, name="let-in"),
    path("people/<str:code>/erase", erasing.erase_person, name="erase-person"),
    path(
        "password",
        PasswordChangeView.as_view(
            template_name="pitbird/password.html", form_class=PasswordForm, success_url="/password/changed"
        ),
        name="password",
    ),
    path("password/changed", account.password_changed, name="password-changed"),
    path("book", book.book, name="book"),
    path("book/export", book.export, name="book-export"),
    path("book/id/<str:entry_id>", book.by_id, name="entry-by-id"),
    path("book/<int:index>", book.entry, name="entry"),
    path("book/<int:index>/replace", replacing.replace_entry, name="replace"),
    path("book/<int:index>/slip", slips.slip, name="slip"),
    path("book/<int:index>/countersign", doubts.countersigning, name="countersign"),
    path("book/<int:index>/erase", erasing.erase_texts, name="erase-texts"),
    path("doubts", doubts.doubtful, name="doubts"),
    path("attempts", attempts.attempts, name="attempts"),
    path("evidence", evidence.evidence_page, name="evidence"),
    path("evidence/wear", wear.wear, name="wear"),
    path("look-back", look_back.look_backs, name="look-backs"),
    path("look-back/<int:index>", look_back.after_failure, name="look-back-failure"),
    path("look-back/id/<str:entry_id>", look_back.by_id, name="look-back-by-id"),
    path("look-back/gas/<str:code>", look_back.gas_in_doubt, name="look-back-gas"),
    path("look-back/person/<str:code>", look_back.tester_in_doubt, name="look-back-person"),
    path("retention", retention.retention, name="retention"),
    path("seen", seeing.seen, name="seen"),
    path("calculations", calc.calculations, name="calculations"),
    path("calculations/<str:name>", calc.calculation, name="calculation"),
    path("rules", rules.rules, name="rules"),
    path("rules/<str:rules_id>/would", would.would, name="would"),
    path("test", bump.choose, name="test"),
    path("test/<str:code>", bump.record, name="test-detector"),
    path("tables/<slug:name>", tables.table, name="table"),
    path("write/<slug:kind>", write.write_entry, name="write"),
    path("api/", api),
]
