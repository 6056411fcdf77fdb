"""Two rigs with other settings, row by row."""


from labkit.rig.rig import Rig
from labkit.switchover.settings import PairSettings
from lessons.pictures.two_rigs import comparison_html, comparison_rows, comparison_text


def after_power_cut(hold_ms):
    rig = Rig(settings=PairSettings(hold_ms=hold_ms))
    rig.switch_on("KF1: no power")
    rig.wait(120)
    return rig.view()


def test_same_settings_never_differ():
    rows = comparison_rows(after_power_cut(500), after_power_cut(500))
    assert rows and not any(row.differs for row in rows)


def test_short_hold_time_differs_in_the_tank_and_not_in_the_roles():
    rows = {row.what: row for row in comparison_rows(after_power_cut(500), after_power_cut(100))}
    assert (rows["setting hold_ms"].a, rows["setting hold_ms"].b) == ("500", "100")
    assert not rows["who leads"].differs and not rows["gap"].differs
    assert (rows["cost of the event"].a, rows["cost of the event"].b) == ("EUR 0", "EUR 11\u202f000")
    assert float(rows["lowest level [m]"].b) <= 0.6 < float(rows["lowest level [m]"].a)


def test_table_and_text_say_the_same():
    rows = comparison_rows(after_power_cut(500), after_power_cut(100))
    html, text = comparison_html(rows), comparison_text(rows)
    assert html.count(">differs<") == text.count(" differs: ") == sum(r.differs for r in rows)
    for row in rows:
        assert row.a in text and row.b in text and row.what in html
