"""Sizing of wings: what limits them, what mends it, and against formulas by hand."""

from dataclasses import replace
from math import radians
from pathlib import Path

import pytest
from documents import document_of
from hocklift.cli import main
from hocklift.rigfile.file import write_rig
from hocklift.sizing.checks import rows_of
from hocklift.sizing.result import size
from hocklift.sizing.sources import SOURCES
from hocklift.sizing.wing_loads import WingLoads
from legsim.wing.rig import WingRig

DEMO = WingRig()


def test_the_demo_wings_hold() -> None:
    sizing = size(DEMO, "demo")
    assert sizing.failing == []
    assert len(sizing.limits) == 3


def test_each_check_has_a_source_and_keys_of_the_wings_file() -> None:
    for row in rows_of(DEMO):
        assert row.check.source in SOURCES or row.check.source == "definition"
        assert row.check.levers


def test_a_weak_line_fails_and_a_stronger_one_is_told() -> None:
    weak = replace(DEMO, rope=replace(DEMO.rope, breaking_N=500))
    sizing = size(weak, "weak")
    assert [row.check.part for row in sizing.failing] == ["upper rope"]
    remedy = sizing.limits[0].remedy
    assert remedy is not None
    assert remedy.path.startswith("rope.")
    assert remedy.failing == ()


def test_forces_by_hand() -> None:
    """Level, the demo wing and its 2 kg weigh 38.4 N m (see the simulated wing's theory). The
    tackle then pulls 256 N; the motor turns 4 x 150 / 11 x 24 = 1309 times for one of the wing,
    so ideally makes 38.4 / 1309 / (hauling efficiency 0.9085 x three meshes 0.857) = 37.7 mN m."""
    level = replace(DEMO, wing=replace(DEMO.wing, raised_rad=radians(90), hinge_friction_Nm=0.0))
    loads = WingLoads(level)
    assert loads.motor_per_lift == pytest.approx(1309, abs=1)
    assert loads.shaft_Nm(radians(90), 1) == pytest.approx(0.0377, rel=5e-3)
    # Twice the load's part, twice the hold.
    heavy = WingLoads(replace(level, wants=replace(level.wants, load_kg=4.0)))
    more = heavy.net_N(radians(90)) / loads.net_N(radians(90))
    assert more == pytest.approx((2.4 * 0.55 + 4 * 1.3) / (2.4 * 0.55 + 2 * 1.3))


def test_raising_takes_more_than_holding_and_lowering_less() -> None:
    loads = WingLoads(DEMO)
    for lift_rad in loads.lifts_rad[10:]:
        raising, holding, lowering = (loads.lines_N(lift_rad, way)[0] for way in (1, 0, -1))
        assert raising > holding > lowering


def test_json_and_page_tell_the_same_checks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "wings.toml"
    write_rig(DEMO, path)
    assert main(["size", str(path), "--json", "--out", str(tmp_path)]) == 0
    told = document_of("size", capsys.readouterr().out)
    assert {check["part"] for check in told["checks"]} >= {"upper rope", "lower rope", "hinge pin"}
    page = (tmp_path / "size.html").read_text(encoding="utf-8")
    assert "upper rope" in page
    assert page.count("<svg") >= 3
