"""The sheet as HTML and PDF: complete in itself, every number in its place, nothing run that a user wrote."""

from __future__ import annotations

import re
from datetime import timedelta
from html.parser import HTMLParser

import pypdfium2
import pytest
from report_dives import HOSTILE_NAME, Examined, hostile_text

from schedgen.errors import UsageError
from schedgen.plan.changes import apply_changes, choices_of, combinations, unchanged
from schedgen.report import words
from schedgen.report.check import Subject
from schedgen.report.figure import picture
from schedgen.report.figure_data import figure_data
from schedgen.report.sheet import paper
from schedgen.report.sheet.card import card
from schedgen.report.sheet.checklist import checklist, stand_down
from schedgen.report.sheet.pack import rest_voltage, weighings
from schedgen.report.sheet.page import Sheet, inline_svg, script_json, sheet_html
from schedgen.report.sheet.recovery import recovery_page
from schedgen.report.sheet.splash import happened, one_line, redone

LARGEST = 1_500_000


class Reader(HTMLParser):
    """Elements, attributes and the text that a reader sees."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._hidden += tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.text.append(data)


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    return reader


def page(subject: Subject, first: str = "", drawn: bool = False) -> str:
    """The page; with its drawing where that is what is looked at."""
    svg = inline_svg(picture(figure_data(subject), "svg", text_as_paths=False)) if drawn else ""
    return sheet_html(subject, Sheet(first, svg))


def seen(html: str) -> str:
    return re.sub(r"\s+", " ", " ".join(read(html).text))


def test_the_page_refers_to_nothing_outside_itself(examined: Examined) -> None:
    html = page(examined(), drawn=True)
    assert len(html.encode()) < LARGEST
    for tag, attributes in read(html).elements:
        assert tag not in ("link", "iframe", "object", "embed", "img", "base", "audio", "video"), tag
        for name in ("src", "href", "xlink:href", "action", "data", "srcset", "poster"):
            value = attributes.get(name)
            assert value is None or value.startswith("#"), (tag, name, value)
    assert "@import" not in html
    assert re.findall(r"url\(([^)]*)\)", html) == [x for x in re.findall(r"url\(([^)]*)\)", html) if x.startswith("#")]
    left = re.sub(r'xmlns(:\w+)?="[^"]*"', "", html)
    assert not re.findall(r"https?://[^\s\"'<)]+", left.replace("http://www.w3.org/2000/svg", ""))


def test_the_policy_allows_its_own_scripts_and_no_connection(examined: Examined) -> None:
    html = page(examined())
    policy = next(a["content"] for t, a in read(html).elements if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert "default-src 'none'" in policy
    assert "connect-src 'none'" in policy
    assert policy.count("'sha256-") == 3
    assert "unsafe-eval" not in policy
    assert "script-src 'unsafe-inline'" not in policy


def test_same_dive_gives_the_same_page(examined: Examined) -> None:
    assert page(examined(), drawn=True) == page(examined(), drawn=True)


def test_the_first_words_answer_the_four_questions(examined: Examined) -> None:
    subject = examined()
    text = seen(page(subject))
    top = text[text.index("May we drop?") : text.index("When things happen")]
    assert subject.code is not None
    for word in ("GO", subject.code, "16:21 – 17:30", words.hours(subject.results.worst.endurance_after_surface_h)):
        assert word in top, word
    assert "Not in the water by 18:40: stand down." in top


def test_a_no_go_says_so_and_what_to_mend(examined: Examined) -> None:
    subject = examined(("latest: start + 14 h", "latest: start + 8 h"))
    text = seen(page(subject))
    assert "NO-GO" in text
    assert "Mend this first" in text
    assert text.index("release-too-late") < text.index("When things happen")


def test_every_event_stands_in_elapsed_local_and_utc_time(examined: Examined) -> None:
    text = seen(page(examined()))
    assert "9 h 32 min 05 s 19 Apr 16:12:05 19 Apr 15:12:05" in text
    for name in ("start", "splash", "bottom", "release", "surface", "end"):
        assert re.search(rf"\b{name}\b", text)


def test_every_case_and_finding_and_default_is_on_the_page(examined: Examined) -> None:
    subject = examined()
    text = seen(page(subject))
    for name in subject.results.cases:
        assert name in text, name
    for finding in subject.judgement.findings:
        assert finding.name in text
        assert re.sub(r"\s+", " ", finding.message) in text
    for path in (*subject.loaded.guessed, *(path for path, _ in subject.loaded.defaults)):
        assert path in text, path


def test_accepted_findings_stand_with_their_reasons(examined: Examined) -> None:
    text = seen(page(examined(text=hostile_text())))
    assert "Accepted because:" in text
    assert "<i>because</i>" in text


def test_cautions_are_there_and_nothing_is_called_safe(examined: Examined) -> None:
    for subject in (examined(), examined(("latest: start + 14 h", "latest: start + 8 h"))):
        text = seen(page(subject)).lower()
        for word in ("lithium", "local codes", "licensed practice", "permits", "vent first", "quarantine"):
            assert word in text, word
        assert not re.search(r"\bsafe(ly|ty)?\b", text)


def test_markup_of_a_user_is_text_and_never_an_element(examined: Examined) -> None:
    html = page(examined(text=hostile_text()), drawn=True)
    reader = read(html)
    assert HOSTILE_NAME in "".join(reader.text)
    assert "{{ 7*7 }}" in "".join(reader.text)
    assert "49 <" not in html
    assert not [tag for tag, _ in reader.elements if tag in ("img", "i", "iframe")]
    assert [a for t, a in reader.elements if any(name.startswith("on") for name in a)] == []
    assert sum(tag == "script" for tag, _ in reader.elements) == 4


def test_json_inside_a_script_cannot_end_it() -> None:
    text = script_json({"a": "</script><!--&", "b": "\u2028"})
    assert "<" not in text
    assert ">" not in text
    assert "&" not in text
    assert text.isascii()


def test_the_pack_must_show_the_voltage_of_its_least_charge(examined: Examined) -> None:
    rest = rest_voltage(examined())
    assert rest is not None
    assert rest.charge == pytest.approx(0.98)
    # Three cells; the charge of the demo is close to full, 4.2 V a cell at most (cell file).
    assert 12.3 < rest.go_v <= rest.full_v <= 12.61
    lower = rest_voltage(examined(("charge: 98 %", "charge: 70 % ± 5 %")))
    assert lower is not None
    assert lower.charge == pytest.approx(0.65)
    assert lower.go_v < rest.go_v


def test_weights_in_water_follow_from_mass_and_volume(examined: Examined) -> None:
    sea, fresh = weighings(examined())
    # By hand: 46.0 kg - 51.5 L x 1026.8 kg/m3 = -6.88 kg; ballast 16 kg x (1 - 1026.8/7200) = 13.72 kg.
    # Density of sea water of 35.2 at 11.5 degC: 1026.8 kg/m3, from memory of the one-atmosphere equation of state.
    assert sea.without_ballast[1] == pytest.approx(46.0 - 51.5 * 1.0268, abs=0.02)
    assert sea.with_ballast[1] == pytest.approx(46.0 - 51.5 * 1.0268 + 16 * (1 - 1026.8 / 7200), abs=0.03)
    # Fresh water at 15 degC: 999.1 kg/m3, from memory of the tables.
    assert fresh.without_ballast[1] == pytest.approx(46.0 - 51.5 * 0.9991, abs=0.02)
    assert sea.with_ballast[0] < sea.with_ballast[1] < sea.with_ballast[2]


def test_the_checklist_goes_in_the_order_of_the_work_with_numbers(examined: Examined) -> None:
    subject = examined()
    stages = checklist(subject, rest_voltage(subject), weighings(subject))
    assert [stage.title for stage in stages] == [
        "Before the lid is closed", "Seal and vacuum", "On deck", "Arm", "Splash",
    ]  # fmt: skip
    text = " ".join(item.text for stage in stages for item in stage.items)
    for word in (
        "15 cells",
        "OUT1 switches camera",
        "256 GB",
        "Ballast 16 kg",
        "1450 to 1510 m",
        "by 18:40",
        "burn wire",
    ):
        assert word in text, word
    # The firmware's light says the code's first character: its eights long, the rest short (light.h). Y is 30.
    assert "3 long and 6 short (Y of the code)" in text


def test_with_a_button_start_the_deck_time_is_the_limit(examined: Examined) -> None:
    subject = examined(
        ("  trigger: water\n", "  trigger: button\n  deck_time: 20 min .. 90 min\n"), ("  armed_for: 12 h\n", "")
    )
    last = stand_down(subject)
    assert last.instant == subject.plan.planned + timedelta(minutes=90)
    text = " ".join(i.text for s in checklist(subject, None, ()) for i in s.items)
    assert "Button B held for 3 s" in text


def test_the_card_lists_every_choice_with_its_presses(examined: Examined) -> None:
    subject = examined()
    found = card(subject)
    assert found is not None
    # Seven shifts (two steps earlier to four later) times two levels.
    assert len(found.choices) == len(combinations(subject.plan)) == 14
    assert found.allowed == sum(subject.plan.allowed_changes)
    written = next(choice for choice in found.choices if choice.as_written)
    assert (written.presses, written.words) == ("none", ("as written", "70 %"))
    # Replay the presses as buttons.h has them: A steps the first change on, B the second, both go round.
    values = [choices_of(change) for change in subject.plan.field_changes]
    for choice, wanted in zip(found.choices, combinations(subject.plan), strict=True):
        now = [v.index(x) for v, x in zip(values, unchanged(subject.plan), strict=True)]
        for part in choice.presses.split(", "):
            if part != "none":
                button, count = part[0], {"once": 1, "twice": 2}.get(part[2:]) or int(part[2:].split()[0])
                index = "AB".index(button)
                now[index] = (now[index] + count) % len(values[index])
        assert tuple(v[k] for v, k in zip(values, now, strict=True)) == wanted
        assert choice.number == found.choices.index(choice) + 1


def test_the_card_moves_release_and_surfacing_with_a_shift(examined: Examined) -> None:
    subject = examined()
    found = card(subject)
    assert found is not None
    later = next(c for c in found.choices if c.words == ("1 h 00 min later", "70 %"))
    written = next(c for c in found.choices if c.as_written)
    assert later.release - written.release == timedelta(hours=1)
    assert abs((later.last - written.last) - timedelta(hours=1)) < timedelta(seconds=2)


def test_a_choice_that_the_settings_leave_out_says_why(examined: Examined) -> None:
    subject = examined(("latest: start + 14 h", "latest: start + 11 h"))
    found = card(subject)
    assert found is not None
    left_out = [choice for choice in found.choices if not choice.allowed]
    assert left_out
    plan = subject.plan
    for choice, wanted in zip(found.choices, combinations(plan), strict=True):
        primary = apply_changes(plan, wanted).primary
        assert primary is not None
        assert not (choice.allowed and primary.last_end_s > plan.interlocks.latest_s)
    assert "its last try would end after latest" in {choice.why_not for choice in left_out}
    assert f"left out: {left_out[0].why_not}" in seen(page(subject))


def test_one_change_goes_the_shorter_way_round(examined: Examined) -> None:
    found = card(examined(("  - {level: lights, values: [70 %, 45 %]}\n", "")))
    assert found is not None
    by_words = {choice.words[0]: choice.presses for choice in found.choices}
    assert by_words["30 min later"] == "A once"
    assert by_words["30 min earlier"] == "B once"
    assert by_words["1 h 00 min earlier"] == "B twice"


def test_no_card_without_field_changes(examined: Examined) -> None:
    shift, level = "{shift: release, step: 30 min, from: -2, to: 4}", "{level: lights, values: [70 %, 45 %]}"
    subject = examined((f"field_changes:\n  - {shift}\n  - {level}\n", ""))
    assert card(subject) is None
    assert "Field-change card" not in seen(page(subject))


def test_the_recovery_page_goes_by_the_clock(examined: Examined) -> None:
    subject = examined()
    found = recovery_page(subject)
    instants = [rung.instant for rung in found.rungs]
    assert instants == sorted(instants)
    assert found.first < found.nominal < found.last
    # 0.2 m/s for 48 h is 34.56 km: arithmetic.
    assert [d.hours for d in found.drift] == [1, 2, 3, 6, 12, 24, 48]
    assert found.drift[-1].radius_m == pytest.approx(34560)
    assert found.wait_until - found.last == timedelta(hours=48)
    what = " ".join(rung.what for rung in found.rungs)
    for word in ("earliest surfacing", "one more try", "backup (dissolving link)", "beacon may be dark"):
        assert word in what, word
    assert {finder.name for finder in found.finders} == {"beacon", "locator"}
    assert "sunset 20:57" in found.sun


def test_without_a_current_the_drift_is_not_made_up(examined: Examined) -> None:
    subject = examined(("  current: 0.2 m/s\n", ""))
    assert recovery_page(subject).drift == ()
    assert "has no site.current" in seen(page(subject))


def test_a_beacon_that_the_schedule_ends_does_not_outlast_it(examined: Examined) -> None:
    subject = examined(
        ("{load: beacon, from: release, until: end, ", "{load: beacon, from: release, until: surface + 50 h, ")
    )
    beacon = next(f for f in recovery_page(subject).finders if f.name == "beacon")
    locator = next(f for f in recovery_page(subject).finders if f.name == "locator")
    assert beacon.worst_h < 51 < locator.worst_h


def test_after_the_splash_all_times_move_and_the_settings_stay(examined: Examined) -> None:
    subject = examined()
    real = happened("2027-04-19T08:25:00+01:00", None)
    moved = redone(subject, real)
    before, after = recovery_page(subject), recovery_page(moved)
    assert moved.code == subject.code
    assert moved.plan.outputs == subject.plan.outputs
    # 105 min late, and the 15 min of doubt either way are gone.
    assert after.first - before.first == timedelta(minutes=120)
    assert after.last - before.last == timedelta(minutes=90)
    line = one_line(moved, real, subject.plan.planned)
    assert line.startswith("Splashed 08:25 (1 h 45 min late): at the surface 18:21 to 19:00 UTC+01:00, in daylight;")
    assert "drift up to 34.6 km" in line
    text = seen(page(moved, line))
    assert line in text
    assert "stand down." not in text[: text.index("When things happen")]
    assert text.index("Hour by hour") < text.index("The dive as a picture")


def test_a_splash_into_the_night_brings_its_finding(examined: Examined) -> None:
    subject = examined()
    moved = redone(subject, happened("2027-04-19T13:30:00Z", None))
    assert "surfacing-in-the-dark" in {f.name for f in moved.judgement.findings}
    assert "surfacing-in-the-dark" not in {f.name for f in subject.judgement.findings}


def test_with_a_button_start_the_splash_alone_leaves_half_the_deck_time(examined: Examined) -> None:
    subject = examined(("  trigger: water\n", "  trigger: button\n  deck_time: 20 min .. 90 min\n"))
    splash = happened("2027-04-19T08:00:00+01:00", None)
    moved = redone(subject, splash)
    assert moved.plan.planned_plus_minus_s == 35 * 60
    both = happened("2027-04-19T08:00:00+01:00", "2027-04-19T07:00:00+01:00")
    exact = redone(subject, both)
    assert exact.plan.planned_plus_minus_s == 0
    assert "1 h 00 min after the start" in one_line(exact, both, subject.plan.planned)
    late = happened("2027-04-19T09:00:00+01:00", "2027-04-19T07:00:00+01:00")
    assert "OUTSIDE the deck_time" in one_line(redone(subject, late), late, subject.plan.planned)


@pytest.mark.parametrize(
    ("splashed", "started"),
    [("yesterday", None), ("2027-04-19T08:00:00", None), ("2030-01-01T00:00:00Z", None),
     ("2027-04-19T08:00:00Z", "2027-04-19T09:00:00Z")],
)  # fmt: skip
def test_instants_that_cannot_be_are_refused(examined: Examined, splashed: str, started: str | None) -> None:
    with pytest.raises(UsageError):
        redone(examined(), happened(splashed, started))


@pytest.mark.parametrize(("size", "points"), [("A4", (595.3, 841.9)), ("Letter", (612.0, 792.0))])
def test_the_pdf_has_the_asked_size_and_all_of_the_text(
    examined: Examined, size: str, points: tuple[float, float]
) -> None:
    subject = examined()
    svg = inline_svg(picture(figure_data(subject), "svg")) if size == "A4" else ""
    data = paper.sheet_pdf(sheet_html(subject, Sheet("", svg, interactive=False, paper=size)))
    document = pypdfium2.PdfDocument(data)
    text = ""
    for number in range(len(document)):
        sheet = document[number]
        width, height = sheet.get_size()
        assert (width, height) == (pytest.approx(points[0], abs=1), pytest.approx(points[1], abs=1))
        textpage = sheet.get_textpage()
        for index in range(textpage.count_chars()):
            left, bottom, right, top = textpage.get_charbox(index)
            assert left >= 25
            assert right <= width - 25
            assert bottom >= 14
            assert top <= height - 14
        text += textpage.get_text_range()
        textpage.close()
        sheet.close()
    document.close()
    for word in ("May we drop?", "Recovery", "Field-change card", "Not checked", f"page 1 of {number + 1}"):
        assert word in text, word


def test_without_the_pdf_library_the_message_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, examined: Examined
) -> None:
    import builtins

    plain = builtins.__import__

    def missing(name: str, *rest: object) -> object:
        if name.startswith("weasyprint"):
            raise OSError("cannot load library 'libpango-1.0-0'")
        return plain(name, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(UsageError) as caught:
        paper.sheet_pdf("<p>x</p>")
    assert "libpango-1.0-0" in caught.value.message
    assert "apt-get install" in caught.value.next_step
