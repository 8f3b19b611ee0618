"""All the lines of a vehicle: their order, what each is cut from, what to practise and to buy, what stays out."""

import re
from dataclasses import replace
from itertools import pairwise, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bendcal
from bendcal.benders import Bender
from bendcal.bodies import BenderBody
from bendcal.buying import Practice, TubeTotal, fittings_of, practice_of
from bendcal.calibration import Calibration
from bendcal.cli import main
from bendcal.ends import End
from bendcal.entries.line_saving import save_line
from bendcal.feasible.planning import plan_bending
from bendcal.flares import Flare
from bendcal.inch_words import with_inches
from bendcal.job import Job, order_of_making, plan_job
from bendcal.job_report import bending_sentences, clips_table, fittings_table, order_table, tube_table
from bendcal.law import Law
from bendcal.lines import Line, line_from_legs
from bendcal.marks import MarkSheet, mark_out
from bendcal.materials import ALLOYS
from bendcal.measures import inch_text
from bendcal.mirror import mirrored
from bendcal.offcuts import Offcut
from bendcal.planned import mark_out_planned
from bendcal.shop import Shop, UnknownName
from bendcal.solids import Solid
from bendcal.stock import StockLength
from bendcal.supports import supports_for
from bendcal.tubes import Tube
from tests.a_shop import write_shop

BENDERS, TUBES = ("one", "two", "three"), ("s", "t", "u")
SHOP = Shop(
    benders={name: Bender(name, 15.0) for name in BENDERS},
    tubes={name: Tube(name, ALLOYS["low-carbon steel"], 4.76, 0.71) for name in TUBES},
    ends={"flare": End("flare", "double flare", 5.0, straight_mm=20.0), "ring": End("ring", "olive", 6.0), "bare": End("bare", "plain", 0.0)},
)  # fmt: skip
# Radius and developed radius are 0.1 mm and nothing scatters: a line is as long as its legs, but for 0.04 mm a bend.
LAWS = {(b, t): Law.of(b, t, [0.0, 1.0, 0.1, 0.1, 0.0], scatter_deg=0.0, marking_mm=0.0) for b in BENDERS for t in TUBES}
CAL = Calibration(LAWS, None, (), (), "", "0")


def line(name: str, length_mm: float, *, bender: str = "one", tube: str = "s", service: str = "fuel", **facts: str) -> Line:
    """A line of one square bend with plain ends."""
    legs = [length_mm / 2, length_mm / 2]
    return line_from_legs(name, legs, [90], [0], bender=bender, tube=tube, service=service, **facts)


def sheets(*lines: Line) -> list[MarkSheet]:
    """Their sheets, without spare tube."""
    return [mark_out(SHOP, CAL, one, trim_mm=0) for one in lines]


def names(*lines: Line) -> list[str]:
    """The lines in the order of making."""
    return [task.line for task in order_of_making(sheets(*lines))]


def plan(*lines: Line, stock: tuple = (), **options) -> Job:
    """The job of these lines."""
    return plan_job(replace(SHOP, stock=stock), CAL, lines=lines, **{"offcuts": 0, "flares": 0} | options)


# --- the order of making ---------------------------------------------------------------------------


def test_the_shortest_comes_first() -> None:
    """With one bender and one tube lines are made by their length."""
    tasks = order_of_making(sheets(line("long", 900), line("short", 200), line("middle", 500)))
    assert [task.line for task in tasks] == ["short", "middle", "long"]
    assert tasks[0].reason == "The shortest line: the least tube is lost if it goes wrong."
    assert tasks[1].reason == tasks[2].reason == "Same bender and tube as before; longer."


def test_what_shares_bender_and_tube_stays_together() -> None:
    """A short line of another bender waits until the first one's are done."""
    order = names(line("a1", 200), line("b1", 300, bender="two"), line("a2", 400), line("b2", 500, bender="two"))
    assert order == ["a1", "a2", "b1", "b2"]


def test_changes_count_more_than_short_ones_first() -> None:
    """Two benders that share a tube: it stays in hand, though the shortest line of all is then not the first."""
    tasks = order_of_making(sheets(line("x", 300, tube="t"), line("y", 200), line("z", 400, bender="two"), line("w", 900, tube="t", bender="two")))
    groups = [(task.sheet.bender.bender, task.sheet.tube.tube) for task in tasks]
    assert groups == [("one", "s"), ("one", "t"), ("two", "t"), ("two", "s")]
    assert [task.reason for task in tasks[1:]] == [
        "Change the tube to t. The bender stays.", "Change the bender to two. The tube stays.", "Change the tube to s. The bender stays.",
    ]  # fmt: skip
    forced = order_of_making(sheets(line("x", 200, tube="t"), line("y", 300), line("z", 400, bender="two", tube="t")))
    assert [task.line for task in forced] == ["y", "x", "z"]
    assert forced[0].reason.startswith("Begun with, so that bender and tube are changed least")


def test_a_change_of_both_is_said() -> None:
    """Bender and tube change together where nothing is shared."""
    tasks = order_of_making(sheets(line("x", 200), line("y", 300, bender="two", tube="t")))
    assert tasks[1].reason == "Change the bender to two and the tube to t."
    assert order_of_making([]) == ()


@settings(max_examples=30)
@given(st.lists(st.tuples(st.sampled_from(BENDERS), st.sampled_from(TUBES), st.integers(100, 900)), min_size=1, max_size=5))
def test_no_order_changes_bender_or_tube_less(facts: list[tuple[str, str, int]]) -> None:
    """Of all orders of up to five lines none has fewer changes of bender, nor, with as few, of tube."""
    job = plan(*(line(f"l{k}", mm, bender=bender, tube=tube) for k, (bender, tube, mm) in enumerate(facts)))

    def changes(way) -> tuple[int, int]:
        steps = list(pairwise(way))
        return sum(a[0] != b[0] for a, b in steps), sum(a[1] != b[1] for a, b in steps)

    assert job.changes == min(changes(way) for way in permutations(facts))
    assert len(job.tasks) == len(facts)


def test_many_groups_keep_benders_together() -> None:
    """Nine pairs are too many to try every order: each bender still comes once."""
    job = plan(*(line(f"{b}-{t}", 100 + 10 * k, bender=b, tube=t) for k, (t, b) in enumerate((t, b) for t in TUBES for b in BENDERS)))
    assert job.changes[0] == 2
    assert job.tasks[0].line == "one-s"


# --- practice, nuts, totals -----------------------------------------------------------------------------


def test_practice_counts_what_was_made_already() -> None:
    """Three offcuts for a bender with a tube, three flares of an end, less those that the tables hold; set aside counts for nothing."""
    lines = [line("x", 300, end_a="flare", end_b="ring"), line("y", 300, end_a="flare")]
    offcuts = [Offcut(str(k), "one", "s", 180.0, 70.0, 90.0, 88.0) for k in range(2)]
    shop = replace(SHOP, offcuts=(*offcuts, replace(offcuts[0], offcut="bad", set_aside="kinked")))
    assert practice_of(SHOP, lines) == (Practice("offcut for bender one", "s", 3, 200.0), Practice("practice flare flare", "s", 3, 100.0))
    assert practice_of(shop, lines)[0] == Practice("offcut for bender one", "s", 1, 180.0)
    flared = replace(SHOP, flares=(Flare("flare", 80.0, 75.0), Flare("flare", 80.0, 74.0), Flare("flare", 80.0, 70.0, set_aside="split")))
    assert practice_of(flared, lines, offcuts=0) == (Practice("practice flare flare", "s", 1, 80.0),)
    assert practice_of(SHOP, [line_from_legs("z", [90], [], [], tube="s", bender="one")]) == ()


def test_nuts_olives_and_flares_are_counted() -> None:
    """Two lines with three flares and an olive: three nuts of one kind and one of another; plain ends have none."""
    lines = [line("x", 300, end_a="flare", end_b="ring"), line("y", 400, end_a="flare", end_b="flare"), line("z", 200, end_a="bare")]
    fit = fittings_of(SHOP, sheets(*lines), practice_of(SHOP, lines))
    assert fit.nuts == {"flare": 3, "ring": 1}
    assert fit.olives == {"ring": 1}
    assert fit.flares == {("s", "double flare"): 3}
    assert fit.practice_flares == {("s", "double flare"): 3}


def test_a_tenth_more_is_bought_of_what_is_missing() -> None:
    """1000 mm missing are 1100 to buy (FAA AC 65-9A, about 10 %: read); 1000.1 are 1101 in whole mm; nothing missing is nothing to buy."""
    total = TubeTotal("t", 1400.0, 0.0, 400.0, 1000.0, 600.0, 0.10)
    assert (total.needed_mm, total.to_buy_mm) == (1400.0, 1100.0)
    assert "Buy 1100 mm or more, none of it shorter than 600.0 mm" in total.sentence
    assert "FAA AC 65-9A" in total.sentence
    assert replace(total, missing_mm=1000.1).to_buy_mm == 1101.0
    assert replace(total, missing_mm=0.0).to_buy_mm == 0.0
    assert replace(total, missing_mm=0.0).sentence.endswith("400 mm on hand. Nothing has to be bought.")


def test_each_tube_is_cut_from_its_own_stock() -> None:
    """Two tubes are two cut lists; a piece of one is not cut for the other, and what is used up is not there."""
    stock = (StockLength("a", "s", 1000.0), StockLength("b", "t", 350.0), StockLength("gone", "t", 900.0, count=0))
    job = plan(line("x", 300), line("y", 400, tube="t"), line("z", 500), stock=stock)
    assert set(job.cuts) == {"s", "t"}
    assert [(cut.name, round(cut.length_mm)) for cut in job.cuts["s"].pieces[0].cuts] == [("z", 500), ("x", 300)]
    assert [cut.name for cut in job.cuts["t"].missing] == ["y"]
    totals = {total.tube: total for total in job.totals}
    assert (totals["s"].to_buy_mm, totals["t"].on_hand_mm) == (0.0, 350.0)
    assert totals["t"].to_buy_mm == pytest.approx(1.1 * 400, abs=1)


def test_cut_lengths_are_those_of_the_sheets() -> None:
    """Spare tube and what the ends use up are in what is cut, to the tenth that the sheet prints."""
    one = line("x", 400, end_a="flare", end_b="flare")
    job = plan(one, stock=(StockLength("a", "s", 1000.0),))
    (cut,) = job.cuts["s"].pieces[0].cuts
    assert cut.length_mm == round(mark_out(SHOP, CAL, one).cut_length_mm, 1)
    assert cut.length_mm > 409


def test_practice_pieces_are_cut_from_rests() -> None:
    """Three offcuts of 200 mm fit behind the line; with less tube the line comes first."""
    one = line("x", 300)
    enough = plan(one, stock=(StockLength("a", "s", 1000.0),), offcuts=3)
    assert len(enough.cuts["s"].pieces[0].cuts) == 4
    short = plan(one, stock=(StockLength("a", "s", 450.0),), offcuts=3)
    assert [cut.practice for cut in short.cuts["s"].missing] == [True] * 3


def test_each_line_is_marked_once_and_again_only_for_another_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line that is bent in its row is marked out once in all; the sheet is the one that the plan alone would make."""
    count = []

    def counted(*args, **more):
        count.append(args[2].line)
        return mark_out(*args, **more)

    for module in ("job", "feasible.planning", "planned"):
        monkeypatch.setattr(f"bendcal.{module}.mark_out", counted)
    (task,) = plan(one := line("x", 300)).tasks
    assert count == ["x"]
    alone = mark_out_planned(SHOP, CAL, one)
    assert task.sheet.mark_mm == pytest.approx(alone.mark_mm, abs=0) and task.sheet.order_told == alone.order_told
    wall = BenderBody("one", "wall", Solid("wall", (-80, 0, 0), (0, 0, 0)))  # leaves no room for the long leg with end A leading
    count.clear()
    legs = line_from_legs("y", [200, 60], [90], [0], tube="s", bender="one")
    (task,) = plan_job(replace(SHOP, bodies=(wall,)), CAL, lines=[legs]).tasks
    assert count == ["y", "y"] and task.sheet.marks["feed"].tolist() == ["B"]


# --- what stays out -----------------------------------------------------------------------------------


def test_a_brake_line_with_an_olive_is_not_cut() -> None:
    """It is refused with its reason and source, and stands neither in the order nor in the cut list."""
    job = plan(line("good", 300), line("bad", 200, service="brake", end_a="flare", end_b="ring"), stock=(StockLength("a", "s", 1000.0),))
    assert [task.line for task in job.tasks] == ["good"]
    (refused,) = job.refused
    assert refused.line == "bad"
    assert re.match(r"End B of this brake line is an olive\..*\(UK MOT manual 2012, 3\.6\)$", refused.reasons[0])
    assert [cut.name for piece in job.cuts["s"].pieces for cut in piece.cuts] == ["good"]


def test_a_line_without_a_law_waits_for_its_offcuts() -> None:
    """Without offcuts of its bender with its tube there is no law: the line waits, and the offcuts are put on the list."""
    cal = replace(CAL, laws={("one", "s"): LAWS["one", "s"]})
    job = plan_job(SHOP, cal, lines=[line("x", 300), line("y", 300, bender="two")], flares=0)
    assert [task.line for task in job.tasks] == ["x"]
    assert job.refused[0].line == "y"
    assert Practice("offcut for bender two", "s", 3, 200.0) in job.practice


def test_a_line_whose_bends_overlap_is_told() -> None:
    """What cannot be marked out is refused with that sentence."""
    job = plan(line("x", 0.15))
    assert "cannot be bent" in job.refused[0].reasons[0]
    assert job.tasks == ()
    assert job.changes == (0, 0)


def test_lines_that_are_not_there_or_are_named_twice_are_refused() -> None:
    """A name that the shop does not have is answered with those that it has; twice the same is a slip."""
    with pytest.raises(UnknownName, match="There is no line called 'x'"):
        plan_job(SHOP, CAL, lines=["x"])
    with pytest.raises(ValueError, match="A line is named twice"):
        plan(line("x", 300), line("x", 300))
    with pytest.raises(ValueError, match="extra is -1"):
        plan(line("x", 300), extra=-1)


# --- tables and commands --------------------------------------------------------------------------------


def test_the_tables_carry_the_job_s_own_numbers() -> None:
    """Order, tube, fittings and clips as a person reads them, in mm and in inches."""
    job = plan(line("x", 254, end_a="flare", end_b="ring"), line("y", 508), stock=(StockLength("a", "s", 400.0),), flares=3)
    assert [row.split()[:2] for row in str(order_table(job)).splitlines()[1:]] == [["1", "x"], ["2", "y"]]
    assert '20"' in str(order_table(job, inches=True))
    assert str(tube_table(job)).splitlines()[0].split()[-2:] == ["buy", "mm"]
    assert "double flare on s" in str(fittings_table(job))
    supports = supports_for(job.tasks[1].sheet, spacing_mm=300)
    clips = str(clips_table(supports))
    assert "leg 1" in clips
    assert f"{supports.clips[0].mark_mm:.1f}" in clips
    assert " in from " in str(clips_table(supports, inches=True))


def test_the_command_plans_the_sample(capsys: pytest.CaptureFixture[str], sample_folder) -> None:
    """Order, cut list, what to buy, clips; the caution first; nothing is written and nothing is wider than a terminal."""
    before = sorted(path.name for path in sample_folder.rglob("*"))
    assert main(["job", str(sample_folder), "--kerf", "1"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Brake work can kill")
    flat = " ".join(out.split())
    shop = bendcal.read_shop(sample_folder)
    job = plan_job(shop, bendcal.calibrate(shop), kerf_mm=1.0)
    places = [flat.index(f"{k} {task.line} ") for k, task in enumerate(job.tasks, start=1)]
    assert places == sorted(places)
    for cuts in job.cuts.values():
        assert cuts.proven
        assert all(" ".join(sentence.split()) in flat for sentence in cuts.sentences)
    for task in job.tasks:
        assert " ".join(supports_for(task.sheet).sentence.split()) in flat
    assert "Buy 1532 mm or more" in flat
    assert max(map(len, out.splitlines())) <= 80
    assert sorted(path.name for path in sample_folder.rglob("*")) == before


def test_the_command_takes_single_lines_and_inches(capsys: pytest.CaptureFixture[str], sample_folder) -> None:
    """Only the lines named are planned; lengths may be typed with their unit."""
    assert main(["job", str(sample_folder), "brake-near-side", "--inches", "--kerf", "1/16 in", "--usable", "30 cm"]) == 0
    out = capsys.readouterr().out
    shop = bendcal.read_shop(sample_folder)
    assert inch_text(mark_out_planned(shop, bendcal.calibrate(shop), "brake-near-side").cut_length_mm) in out
    assert "brake-far-side" not in out
    flat = " ".join(out.split())
    assert flat.count("The mm decide: inches are rounded") == 1
    (cuts,) = plan_job(shop, bendcal.calibrate(shop), lines=["brake-near-side"], kerf_mm=25.4 / 16, usable_mm=300.0).cuts.values()
    told = [with_inches(said) for said in cuts.sentences]
    assert told != list(cuts.sentences) and all(" ".join(said.split()) in flat for said in told)
    assert '3 × 100 mm (3 15/16") steel-3/16: practice flare' in flat
    assert main(["job", str(sample_folder), "nothing"]) == 2
    assert "There is no line called 'nothing'" in capsys.readouterr().err


def test_the_command_tells_what_must_be_put_right(capsys: pytest.CaptureFixture[str], tmp_path) -> None:
    """A line that is refused is named with its reasons, and one without lines asks for them."""
    write_shop(tmp_path, ends="end,form,uses_mm,straight_mm\nM10,olive,5,32\n")
    assert main(["job", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "rear is not to be cut as it is; put right first:" in out
    assert "UK MOT manual 2012, 3.6" in " ".join(out.split())
    write_shop(tmp_path, lines="line,tube,bender\n")
    assert main(["job", str(tmp_path)]) == 2
    assert "There is no line in" in capsys.readouterr().err


# --- a mirrored copy, saved ------------------------------------------------------------------------------


def test_a_mirrored_copy_is_written_and_read_again(capsys: pytest.CaptureFixture[str], sample_folder) -> None:
    """The command writes the copy; read again it is the mirror image, with its row in lines.csv, and every old row stands."""
    old = (sample_folder / "lines.csv").read_bytes()
    assert main(["mirror", str(sample_folder), "brake-near-side", "brake-off-side", "--at", "10 mm"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "brake-off-side is brake-near-side seen in a mirror square to the y axis at 10 mm" in said
    assert "brake-off-side.csv, and a row for it in lines.csv" in said
    assert "What is kept clear of brake-near-side alone in obstacles.csv (steering arm) does not go along" in said
    assert (sample_folder / "lines.csv").read_bytes().startswith(old)
    shop = bendcal.read_shop(sample_folder)
    wanted = mirrored(shop.line("brake-near-side"), "brake-off-side", at_mm=10.0)
    got = shop.line("brake-off-side")
    assert got.nodes_mm == pytest.approx(wanted.nodes_mm, abs=1e-4)
    assert got.legs.twist_deg == pytest.approx(wanted.legs.twist_deg, abs=1e-3)
    for name in ("tube", "bender", "service", "end_a", "end_b", "trim_at", "labels", "note"):
        assert getattr(got, name) == getattr(wanted, name)
    assert shop.cautions == ()


def test_a_name_that_is_taken_is_refused_and_nothing_is_written(capsys: pytest.CaptureFixture[str], sample_folder) -> None:
    """A line of that name, in any capitals, or a file of its own: told, and every file stays as it was."""
    before = {path: path.read_bytes() for path in sample_folder.rglob("*.csv")}
    assert main(["mirror", str(sample_folder), "clutch", "Fuel-Feed"]) == 2
    assert "There is a line called 'Fuel-Feed' in lines.csv already" in capsys.readouterr().err
    (sample_folder / "lines" / "spare.csv").write_text("x_mm,y_mm,z_mm\n")
    before[sample_folder / "lines" / "spare.csv"] = b"x_mm,y_mm,z_mm\n"
    assert main(["mirror", str(sample_folder), "clutch", "spare"]) == 2
    assert "There is a file lines/spare.csv already" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in sample_folder.rglob("*.csv")} == before


def test_a_line_is_saved_into_a_shop_without_any(tmp_path) -> None:
    """lines.csv and its folder are made, and a line without labels has none afterwards."""
    write_shop(tmp_path, lines=None, lines__rear=None, lines__front=None)
    path = save_line(tmp_path, line_from_legs("new", [50, 80], [45], [0], tube="brake 3/16", bender="small", end_a="M10", service="brake"))
    assert path == tmp_path / "lines" / "new.csv"
    new = bendcal.read_shop(tmp_path).line("new")
    assert new.legs.leg_mm == pytest.approx([50, 80], abs=1e-3)
    assert (new.end_a, new.end_b, new.service, new.labels) == ("M10", "", "brake", ())


def test_nothing_is_left_behind_where_the_row_cannot_be_written(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When lines.csv cannot be replaced the line's own file is taken away again."""

    def held(*_: object) -> None:
        raise OSError("open in a spreadsheet")

    write_shop(tmp_path)
    monkeypatch.setattr("bendcal.entries.line_saving.save_log", held)
    with pytest.raises(OSError, match="open in a spreadsheet"):
        save_line(tmp_path, line_from_legs("new", [50, 80], [45], [0], tube="brake 3/16", bender="small"))
    assert not (tmp_path / "lines" / "new.csv").exists()


# --- how each line is bent -------------------------------------------------------------------------

WALL = BenderBody("one", "wall", Solid("wall", (-300, 0, 0), (0, 0, 0)))


def test_each_line_is_told_as_its_own_plan_tells_it() -> None:
    """On the sample the job names the lines that need another order, first, with the very order that the line's plan gives."""
    shop = bendcal.read_shop("sample_measurements")
    cal = bendcal.calibrate(shop)
    job = plan_job(shop, cal)
    told = {task.line: task for task in job.tasks}
    assert set(told) == set(shop.lines) - {"clutch"}
    assert [(one.line, one.reasons) for one in job.refused] == [("clutch", mark_out_planned(shop, cal, "clutch").too_near)]
    for name, task in told.items():
        best = plan_bending(shop, cal, name).best
        assert task.bending == best.sentence
        assert task.checked
        assert "".join(task.sheet.marks["feed"]) == "".join(best.feed)
        assert task.in_row == (best.order == tuple(range(1, len(best.order) + 1)) and "B" not in best.feed)
    assert {name for name, task in told.items() if not task.in_row} == {"brake-far-side", "fuel-feed"}
    said = bending_sentences(job)
    assert all("NOT in the row of the tube: Make bends 1" in one for one in said[:2])
    assert not any("NOT" in one for one in said[2:])


def test_a_line_that_its_bender_cannot_make_is_not_cut() -> None:
    """One long leg, held, would run into the wall and the other one too: the line stays out, with what stands in the way."""
    shop = replace(SHOP, bodies=(WALL,))
    job = plan_job(shop, CAL, lines=[line("long", 900), line("short", 400)], offcuts=0, flares=0)
    assert [task.line for task in job.tasks] == ["short"]
    (out,) = job.refused
    assert out.line == "long"
    assert out.reasons[0].startswith("Line long cannot be bent on one as it is. With bend 1 first and end A leading, bend 1 cannot be begun")
    assert "bendcal plan" in out.reasons[1]
    assert not any("long" in sentence for cuts in job.cuts.values() for sentence in cuts.sentences)


def test_a_line_that_end_b_has_to_lead_is_marked_so() -> None:
    """With 320 mm before the bend and 200 behind it only the short leg can be held: end B leads, and the job's sheet is marked for that."""
    shop = replace(SHOP, bodies=(WALL,))
    uneven = line_from_legs("uneven", [320, 200], [90], [0], bender="one", tube="s", service="fuel")
    (task,) = plan_job(shop, CAL, lines=[uneven], offcuts=0, flares=0).tasks
    assert list(task.sheet.marks["feed"]) == ["B"]
    assert not task.in_row
    assert task.bending == "Make bend 1 with end B leading."


def test_an_order_that_was_not_held_against_the_bender_is_told_as_that() -> None:
    """Where no body of the bender is known, or the file of bodies is left out, only the tube is held against itself, and the job says so."""
    (task,) = plan(line("short", 200)).tasks
    assert not task.checked
    assert task.bending == "Make bend 1 with end A leading. Not checked against the bender: no body of one is known (bender_bodies.csv)."
    (straight,) = plan(line_from_legs("straight", [200], [], [], bender="one", tube="s")).tasks
    assert straight.bending == ""


def test_a_search_that_was_broken_off_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line whose orders were not all tried stays in the job, and is said to be open."""
    monkeypatch.setattr("bendcal.job._MOST_TRIALS", 1)
    crossing = line_from_legs("crossing", [200, 60, 90, 150], [90, 90, 90], [0, 0, 0], bender="one", tube="s")
    job = plan(crossing)
    assert not job.refused
    (task,) = job.tasks
    assert not task.in_row
    assert task.bending.startswith("No order of the bends was found yet; not every one was tried. Ask for this line alone before you cut it")
