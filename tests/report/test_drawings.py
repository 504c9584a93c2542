"""Drawings that the report and the dashboard share: what they show, and that they are safe."""

import re
from dataclasses import replace

import numpy as np
import pytest
from lxml import etree

from sameloop.estimate.result import BudgetLine
from sameloop.report.charts import draw_answer, draw_budget, draw_joint, draw_laps
from sameloop.report.charts_doubt import draw_influence, draw_over_time
from sameloop.report.charts_road import draw_along_road, draw_laps_on_map, draw_loop, draw_wind
from sameloop.report.drawing import COLOURS, to_png, to_svg
from sameloop.report.lap_watts import lap_watts, setup_places, setup_watts


def all_drawings(answer):
    (compared,) = answer.comparisons
    return [
        draw_answer(compared, answer.study),
        draw_laps(answer),
        draw_joint(compared, answer),
        draw_budget(compared),
        draw_loop(answer.lapset.loop),
        draw_along_road(answer),
        draw_over_time(answer),
        draw_influence(answer, 0),
        draw_wind(answer),
        draw_laps_on_map(answer, answer.lapset.laps[1:3]),
    ]


def renamed(answer, name):
    setups = tuple(replace(setup, name=name) for setup in answer.study.setups)
    return replace(answer, study=replace(answer.study, setups=setups))


@pytest.fixture(scope="module")
def drawings(sample_answer):
    return {drawing.key: drawing for drawing in all_drawings(sample_answer)}


def test_every_drawing_is_inert_svg_with_words_for_those_who_do_not_see_it(drawings):
    for drawing in drawings.values():
        svg = to_svg(drawing)
        root = etree.fromstring(svg)
        assert root.get("role") == "img"
        assert drawing.title in root.get("aria-label")
        assert drawing.words in root.get("aria-label")
        tags = {etree.QName(element).localname for element in root.iter()}
        assert tags <= {
            "svg",
            "defs",
            "g",
            "path",
            "text",
            "style",
            "clipPath",
            "rect",
            "tspan",
        }
        for outside in re.findall(r'(?:href="|url\()([^")]+)', svg):
            assert outside.startswith("#")


def test_ids_differ_between_drawings_and_lead_somewhere(drawings):
    pages = [to_svg(drawing) for drawing in drawings.values()]
    ids = [name for page in pages for name in re.findall(r' id="([^"]+)"', page)]
    assert len(ids) == len(set(ids))
    targets = {name for page in pages for name in re.findall(r'(?:href="|url\()#([^")]+)', page)}
    assert targets == set(ids)


def test_ink_is_the_pages_own_so_that_light_and_dark_work(drawings):
    for drawing in drawings.values():
        colours = set(re.findall(r"#[0-9a-f]{6}", to_svg(drawing)))
        assert colours <= set(COLOURS) | {"#ffffff", "#000000"}, drawing.key
        assert "currentColor" in to_svg(drawing)


@pytest.mark.parametrize("page", ["#ffffff", "#14181b"])
def test_colours_stand_out_on_light_and_dark(page):
    """WCAG 2.2, 1.4.11: graphics need a contrast of 3:1."""

    def luminance(colour):
        parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return float(linear @ [0.2126, 0.7152, 0.0722])

    for colour in COLOURS:
        low, high = sorted([luminance(colour), luminance(page)])
        assert (high + 0.05) / (low + 0.05) >= 3, colour


def test_drawing_the_same_twice_gives_the_same_text(sample_answer):
    assert to_svg(draw_laps(sample_answer)) == to_svg(draw_laps(sample_answer))


def test_names_are_words_and_neither_markup_nor_formulas(sample_answer):
    answer = renamed(sample_answer, "<script>alert(1)</script> $x_1$ & co")
    svg = to_svg(draw_laps(answer))
    assert "<script" not in svg
    text = "".join(etree.fromstring(svg).itertext())
    assert "<script>alert(1)</script> $x_1$" in text


def test_posture_is_explained_where_it_is_named(sample_answer, make_comparison):
    wind = make_comparison(budget=(BudgetLine(source="wind", delta_watts_sd=2.0),))

    assert "nobody sits quite the same" in draw_budget(sample_answer.comparisons[0]).words
    assert "Posture" not in draw_budget(wind).words


def test_png_is_fine_enough_for_print(drawings):
    png = to_png(drawings["answer-A-B"])
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20]) >= 1000  # the width, from the header


def test_lap_points_lie_about_their_setups_level(sample_answer):
    speed = sample_answer.study.reference_speeds[0]
    watts, place = lap_watts(sample_answer, speed), setup_places(sample_answer)
    assert watts.shape == (sum(lap.used for lap in sample_answer.lapset.laps),)
    level = setup_watts(sample_answer, speed)
    for index in range(2):
        mine = watts[place == index]
        assert mine.mean() == pytest.approx(level[index], abs=2 * mine.std())
    delta = sample_answer.comparisons[0].watts[0].watts.value
    assert level[1] - level[0] == pytest.approx(delta, abs=0.01)


def test_the_joint_region_holds_zero_just_when_it_says_so(sample_answer):
    (compared,) = sample_answer.comparisons
    assert "lies outside" in draw_joint(compared, sample_answer).words
    assert "stricter test" not in draw_joint(compared, sample_answer).words
    vague = replace(compared, joint=100 * compared.joint)
    assert "lies inside it. Two numbers at once" in draw_joint(vague, sample_answer).words
    open_ = replace(vague, verdict="cannot tell")
    assert "stricter test" not in draw_joint(open_, sample_answer).words


def test_the_loop_is_drawn_without_place_turn_or_start(sample_answer):
    loop = sample_answer.lapset.loop
    line = draw_loop(loop).figure.axes[0].lines[0].get_xydata()
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    east, north = turn @ np.stack([loop.east, loop.north]) + np.array([[1e4], [-3e3]])
    moved = replace(loop, east=np.roll(east[:-1], 40), north=np.roll(north[:-1], 40))
    moved = replace(
        moved,
        east=np.append(moved.east, moved.east[0]),
        north=np.append(moved.north, moved.north[0]),
    )
    other = draw_loop(moved).figure.axes[0].lines[0].get_xydata()
    flips = [other * signs for signs in ([1, 1], [-1, 1], [1, -1], [-1, -1])]
    assert line[:, 0].argmax() == 0 or line[:, 0].argmax() == len(line) - 1
    shape = np.sort(np.hypot(*line.T))
    for flipped in flips:
        assert np.sort(np.hypot(*flipped.T)) == pytest.approx(shape, abs=8)


def test_without_positions_there_is_no_map(sample_answer):
    loop = sample_answer.lapset.loop
    nowhere = replace(
        loop, east=np.full_like(loop.east, np.nan), north=np.full_like(loop.north, np.nan)
    )
    assert draw_loop(nowhere) is None
    lapset = replace(sample_answer.lapset, loop=nowhere)
    assert draw_laps_on_map(replace(sample_answer, lapset=lapset), []) is None


def test_an_unbounded_interval_is_drawn_to_the_edge(sample_answer, make_comparison):
    compared = make_comparison()
    watts = replace(compared.watts[0].watts, low=-np.inf, high=np.inf, sd=np.inf)
    item = replace(compared.watts[0], watts=watts)
    drawn = draw_answer(make_comparison(watts=(item,)), sample_answer.study)
    bar = drawn.figure.axes[0].lines[1].get_xdata()
    assert np.isfinite(bar).all()
    assert "without bounds" in drawn.words


@pytest.mark.parametrize(
    ("known", "name"),
    [((True, True), "reported"), ((False, False), "assumed"), ((True, False), "either")],
)
def test_a_wind_that_nobody_reported_is_called_assumed(sample_answer, known, name):
    rides = len(sample_answer.airs)
    airs = [
        replace(air, wind_known=known[index >= rides // 2])
        for index, air in enumerate(sample_answer.airs)
    ]
    svg = to_svg(draw_wind(replace(sample_answer, airs=tuple(airs))))
    shown = {text for text in ("reported", "assumed", "reported or assumed") if f">{text}<" in svg}
    assert shown == {"reported or assumed" if name == "either" else name}
