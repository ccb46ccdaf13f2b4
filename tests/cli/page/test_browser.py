"""The page in a browser with the network cut: by hand, by keyboard, on a phone and on paper."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tests.cli.page.conftest import HOSTILE, make_page

#: Elements whose words are wider or higher than their box, and are cut there.
CLIPPED = """() => [...document.querySelectorAll('h1,h2,h3,p,li,td,th,dd,dt,button,label,summary')]
  .filter((e) => e.getClientRects().length && getComputedStyle(e).overflow !== 'visible'
    && getComputedStyle(e).overflowY !== 'auto'
    && !e.closest('.unseen') && (e.scrollWidth > e.clientWidth + 1))
  .map((e) => e.textContent.slice(0, 60))"""
#: Rows of what is ranked that are in sight: sites within a work are folded away at first.
SHOWN = "#body tr:not([hidden])"
#: Words of a drawing that reach out of it or lie on one another.
CROWDED = """() => [...document.querySelectorAll('svg.sketch')].flatMap((svg) => {
  const frame = svg.getBoundingClientRect();
  const boxes = [...svg.querySelectorAll('text')]
    .map((t) => [t.textContent, t.getBoundingClientRect()]);
  const out = boxes.filter(([, b]) => b.left < frame.left - 1 || b.right > frame.right + 1
    || b.top < frame.top - 1 || b.bottom > frame.bottom + 1).map(([w]) => 'out: ' + w);
  boxes.forEach(([w, a], i) => boxes.slice(i + 1).forEach(([v, b]) => {
    if (a.left < b.right - 2 && b.left < a.right - 2
      && a.top + 3 < b.bottom && b.top + 3 < a.bottom) out.push(w + ' on ' + v);
  }));
  return out;
})"""


def open_site(tab: Any, site: int) -> None:
    tab.evaluate(f"document.querySelector('tr[data-site=\"{site}\"]').click()")


def column(tab: Any, number: int) -> list[str]:
    rows = f"{SHOWN} td:nth-child({number})"
    return [str(t) for t in tab.locator(rows).all_inner_texts()]


def high_ends(shown: list[str]) -> list[float]:
    """Numbers of a column's cells that have one; of a range its high end, which is sorted by."""
    return [float(v.split(" to ")[-1].replace(",", "")) for v in shown if v != "-"]


def one_of_each(tab: Any) -> list[int]:
    """First site of every kind of structure in the list."""
    rows = tab.locator("#rows tr[data-site]").evaluate_all(
        "all => all.map(e => [e.querySelector('.name').textContent, e.dataset.site])"
    )
    first: dict[str, int] = {}
    for name, number in rows:
        # "site 27: rock bowl" within a work, "spreader: crescent spreader" as a work
        first.setdefault(re.sub(r"^site \d+$", "referred", name).split(": ")[-1], int(number))
    return list(first.values())


def test_opens_from_disk_without_a_request(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    assert page.tab.locator("#title").inner_text() == "Dry Lantern Ranch (invented)"
    assert page.tab.locator("#body tr").count() > 50
    assert page.tab.locator("#sheet h3", has_text="Before you build").is_visible()
    for site in one_of_each(page.tab):
        open_site(page.tab, site)
        assert page.chosen() == str(site)
    assert page.tab.locator("meta[http-equiv='Content-Security-Policy']").count() == 1
    page.clean(sample_page)


def test_the_policy_bites(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    page.tab.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.__ran = 1';"
        " document.body.append(s); const i = new Image(); i.src = 'file:///nothing.png';"
        " document.body.append(i); }"
    )
    page.tab.wait_for_timeout(100)
    assert page.tab.evaluate("window.__ran") is None
    kinds = " ".join(page.tab.evaluate("window.__violations"))
    assert "script-src" in kinds
    assert "img-src" in kinds


def test_map_and_list_lead_to_each_other(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    row = page.tab.locator("#body tr[data-work]").nth(1)
    row.hover()
    assert page.tab.locator(".ring.pointed").get_attribute("display") == "inline"
    assert row.get_attribute("aria-expanded") == "false"
    row.locator("td.rank").click()
    assert row.get_attribute("aria-expanded") == "true"
    first = page.tab.locator("#body tr[data-work] + tr.inner").nth(1)
    assert page.chosen() == first.get_attribute("data-site")
    assert page.tab.locator(".ring.chosen").get_attribute("display") == "inline"
    assert page.tab.locator("#area").get_attribute("d")
    # The other way: every sign that is seen on the whole ranch, clicked in the middle of its shape.
    # An open work's sites take room from signs of lower rank, and the map moves to a site at its
    # edge, so each is clicked with nothing open.
    page.tab.click("#to-ranch")
    page.settle()
    seen = page.tab.locator("g.mark[data-site]:visible").evaluate_all(
        "all => all.map(e => e.dataset.site)"
    )
    assert len(seen) >= 6
    for number in seen[-12:]:
        mark = page.tab.locator(f"g.mark[data-site='{number}']")
        box = mark.bounding_box()
        page.tab.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        assert page.chosen() == mark.get_attribute("data-site")
        heading = page.tab.locator("#sheet h2").inner_text()
        rank = page.tab.locator("tr[aria-selected='true'] td").first.inner_text()
        wanted = (
            f"For an engineer, {rank[1:]} " if rank[0] == "E" else f"Rank {rank.split('.')[0]} "
        )
        assert wanted in heading
        page.tab.click("#to-ranch")
        assert page.chosen() == ""
        page.settle()
    page.clean(sample_page)


def test_dragging_and_the_wheel_move_the_map(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    where = page.tab.locator(".ground")
    before = where.get_attribute("transform")
    box = page.tab.locator("#map").bounding_box()
    x, y = box["x"] + 300, box["y"] + 300
    page.tab.mouse.move(x, y)
    page.tab.mouse.wheel(0, -300)
    page.settle()
    closer = where.get_attribute("transform")
    assert closer != before
    chosen = page.chosen()
    page.tab.mouse.down()
    page.tab.mouse.move(x + 90, y + 40, steps=4)
    page.tab.mouse.up()
    page.settle()
    assert where.get_attribute("transform") != closer
    assert page.chosen() == chosen
    page.tab.click("#zoom-all")
    page.settle()
    assert where.get_attribute("transform") == before
    place = page.tab.locator("#place").inner_text()
    assert re.fullmatch(
        r"37\.\d{5}° N, 104\.\d{5}° W · 54\d{4}\.\d east, 4139\d{3}\.\d north, m", place
    )


def test_two_fingers_zoom(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    before = page.tab.locator(".ground").get_attribute("transform")
    page.tab.evaluate(
        """() => {
          const map = document.getElementById('map');
          const box = map.getBoundingClientRect();
          const send = (type, id, x, y) => map.dispatchEvent(new PointerEvent(type, {
            pointerId: id, pointerType: 'touch', clientX: box.left + x, clientY: box.top + y,
            bubbles: true, button: type === 'pointermove' ? -1 : 0 }));
          send('pointerdown', 11, 200, 250); send('pointerdown', 12, 240, 250);
          send('pointermove', 12, 320, 250); send('pointerup', 11, 200, 250);
          send('pointerup', 12, 320, 250);
        }"""
    )
    page.settle()
    scale = [float(re.match(r"matrix\(([\d.]+)", t)[1])  # type: ignore[index]
             for t in (before, page.tab.locator(".ground").get_attribute("transform"))]  # fmt: skip
    assert scale[1] == pytest.approx(3 * scale[0], rel=0.01)
    assert page.chosen() == ""


def test_sorting_by_the_headings(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page, 1720, 900)
    heads = page.tab.locator("#heads th")
    assert heads.first.get_attribute("aria-sort") == "ascending"
    cost = page.tab.locator("#heads th[data-key='cost']")
    cost.locator("button").click()
    assert cost.get_attribute("aria-sort") == "ascending"
    assert heads.first.get_attribute("aria-sort") == "none"
    shown = column(page.tab, 6)
    assert any(" to " in v for v in shown)
    values = high_ends(shown)
    assert values == sorted(values)
    cost.locator("button").click()
    assert cost.get_attribute("aria-sort") == "descending"
    shown = column(page.tab, 6)
    values = high_ends(shown)
    assert values == sorted(values, reverse=True)
    # What has no value comes last either way.
    assert "-" not in shown[: len(values)]
    page.tab.select_option("#sort", "saved")
    saved = [float(v.split()[0]) for v in column(page.tab, 3)]
    assert saved == sorted(saved)
    # Within a work its sites stay in the order of building.
    order = page.tab.locator("#body tr.inner td.rank").evaluate_all(
        "c => c.map(e => e.textContent)"
    )
    for above, below in pairwise(order):
        if above.split(".")[0] == below.split(".")[0]:
            assert int(above.split(".")[1]) + 1 == int(below.split(".")[1])


def test_filters_work_together_and_on_the_map(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    everything = page.tab.locator(SHOWN).count()
    page.tab.click(".kind[data-kind='vertical']")
    assert page.tab.locator(".kind[data-kind='vertical']").get_attribute("aria-pressed") == "true"
    vertical = page.tab.locator(SHOWN).count()
    assert 0 < vertical < everything
    assert (
        page.tab.locator("#count")
        .inner_text()
        .startswith(f"{vertical} of {everything} works, 0 of ")
    )
    assert not page.tab.locator("#waits").is_visible()
    page.settle()
    on_map = page.tab.locator("g.mark[data-site]:visible").evaluate_all(
        "all => all.map(e => e.dataset.site)"
    )
    listed = page.tab.locator("#body tr[data-site]").evaluate_all(
        "all => all.map(e => e.dataset.site)"
    )
    assert set(on_map) <= set(listed)
    page.tab.select_option("#which", "rock bowl")
    names = column(page.tab, 2)
    assert names
    assert all("rock bowl" in name for name in names)
    page.tab.fill("#word", "FABRIC")
    assert page.tab.locator(SHOWN).count() > 0
    page.tab.fill("#word", "no such words at all")
    assert page.tab.locator("#nothing").is_visible()
    page.tab.click("#clear")
    assert page.tab.locator(SHOWN).count() == everything
    page.clean(sample_page)


def test_everything_by_keyboard(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    tab = page.tab
    seen = []
    for _ in range(60):
        tab.keyboard.press("Tab")
        seen.append(
            tab.evaluate(
                "() => { const e = document.activeElement; const r = e.getBoundingClientRect();"
                " return [e.id || e.dataset.kind || e.closest('th')?.dataset.key || e.tagName,"
                " getComputedStyle(e).outlineStyle, r.width > 0]; }"
            )
        )
        if seen[-1][0] == "TR":
            break
    names = [name for name, _, _ in seen]
    wanted = ["to-ranch", "map", "zoom-in", "measure", "vertical", "which", "sort", "word"]
    assert [n for n in names if n in wanted] == wanted
    assert {"rank", "what", "cost"} <= set(names)
    assert all(style == "solid" and there for _, style, there in seen)
    rank = "() => document.activeElement.querySelector('td').textContent"
    tab.keyboard.press("ArrowDown")
    tab.keyboard.press("ArrowDown")
    assert tab.evaluate(rank) == "3"
    # On to a work of several sites: it opens at the first of them.
    for at in range(4, tab.locator(SHOWN).count() + 1):
        if tab.evaluate("'work' in document.activeElement.dataset"):
            break
        tab.keyboard.press("ArrowDown")
        assert tab.evaluate(rank) == str(at)
    several = tab.evaluate(rank)
    tab.keyboard.press("Enter")
    assert tab.locator("tr[aria-selected='true'] td").first.inner_text() == f"{several}.1"
    assert tab.evaluate("document.activeElement.closest('#sheet') !== null")
    tab.keyboard.press("Escape")
    assert page.chosen() == ""
    assert tab.evaluate(rank) == several
    tab.keyboard.press("End")
    assert tab.evaluate(
        "document.activeElement === document.getElementById('waiting-body').lastChild"
    )
    tab.keyboard.press("Home")
    tab.keyboard.press("ArrowRight")
    tab.keyboard.press("ArrowDown")
    assert tab.evaluate("document.activeElement.querySelector('td').textContent") == "1.1"
    tab.keyboard.press("ArrowUp")
    tab.keyboard.press("ArrowLeft")
    assert tab.evaluate("document.activeElement === document.getElementById('body').firstChild")
    page.clean(sample_page)


def test_the_map_by_keyboard(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    tab = page.tab
    tab.focus("#map")
    tab.keyboard.press("n")
    tab.keyboard.press("n")
    assert tab.locator("tr[aria-selected='true'] td").first.inner_text() == "2.1"
    assert tab.locator("#map-tell").inner_text().startswith("Rank 2: ")
    assert tab.evaluate("document.activeElement.id") == "map"
    before = tab.locator(".ground").get_attribute("transform")
    for key in ("+", "ArrowRight", "ArrowUp"):
        tab.keyboard.press(key)
    page.settle()
    assert tab.locator(".ground").get_attribute("transform") != before
    tab.keyboard.press("0")
    tab.keyboard.press("m")
    tab.keyboard.press("Enter")
    tab.keyboard.press("ArrowRight")
    tab.keyboard.press("Enter")
    told = tab.locator("#map-tell").inner_text()
    assert re.match(r"Distance \d+ m \(\d+ ft\)", told), told
    tab.keyboard.press("Escape")
    assert tab.locator("#measure").get_attribute("aria-pressed") == "false"
    assert page.chosen() != ""
    tab.keyboard.press("Escape")
    assert page.chosen() == ""


def test_measuring_agrees_with_the_coordinates(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    tab = page.tab
    tab.click("#measure")
    box = tab.locator("#map").bounding_box()
    places = []
    for dx, dy in ((100, 150), (350, 420)):
        tab.mouse.click(box["x"] + dx, box["y"] + dy)
        found = re.search(r"([\d.]+) east, ([\d.]+) north", tab.locator("#place").inner_text())
        assert found is not None
        places.append((float(found[1]), float(found[2])))
    page.settle()
    (x0, y0), (x1, y1) = places
    metres = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
    told = re.match(r"Distance (\d+) m \((\d+) ft\)", tab.locator("#map-tell").inner_text())
    assert told is not None
    assert float(told[1]) == pytest.approx(metres, abs=1.0)
    assert float(told[2]) == pytest.approx(metres / 0.3048, abs=3.0)
    assert page.chosen() == ""


@pytest.mark.parametrize(("wide", "high"), [(1440, 900), (1100, 800), (390, 844), (320, 640)])
def test_nothing_is_cut_or_crowded(
    sample_page: Path, visit: Callable, wide: int, high: int
) -> None:
    page = visit(sample_page, wide, high)
    tab = page.tab
    for site in [None, *one_of_each(tab)]:
        if site is not None:
            open_site(tab, site)
        tab.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        assert tab.evaluate("document.documentElement.scrollWidth") <= wide, site
        sheet = tab.locator("#sheet")
        assert sheet.evaluate("e => e.scrollWidth - e.clientWidth") <= 0, site
        assert tab.locator("#rows").evaluate("e => e.scrollWidth - e.clientWidth") <= 0
        assert tab.evaluate(CLIPPED) == []
        assert tab.evaluate(CROWDED) == [], site
    page.clean(sample_page)


def test_a_phone(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page, 390, 844, has_touch=True, is_mobile=True)
    tab = page.tab
    assert not tab.locator("#signs").is_visible()
    tops = [tab.locator(i).bounding_box()["y"] for i in ("#map", "#rows", "#sheet")]
    assert tops == sorted(tops)
    tab.locator(f"{SHOWN} td.rank").nth(2).tap()
    sheet = tab.locator("#sheet").bounding_box()
    assert sheet["y"] + sheet["height"] == pytest.approx(844, abs=1)
    assert sheet["height"] < 0.7 * 844
    ring = tab.locator(".ring.chosen").bounding_box()
    assert ring["y"] > 0
    assert ring["y"] + ring["height"] < sheet["y"]
    tab.locator("#close").tap()
    assert page.chosen() == ""
    # Labels of what is touched are large enough for a thumb.
    for button in tab.locator("button:visible").all()[:10]:
        assert button.bounding_box()["height"] >= 32
    page.clean(sample_page)


def test_on_paper(sample_page: Path, visit: Callable, tmp_path: Path) -> None:
    page = visit(sample_page)
    tab = page.tab
    open_site(tab, 3)
    tab.emulate_media(media="print")
    for hidden in (".tools", "#sieve", "#close", ".phone"):
        assert not tab.locator(hidden).first.is_visible(), hidden
    for shown in ("#map", "#table", "#sheet h2", "#signs"):
        assert tab.locator(shown).first.is_visible(), shown
    rows = tab.locator("#rows")
    assert rows.evaluate("e => e.scrollHeight - e.clientHeight") <= 1
    paper = tmp_path / "page.pdf"
    tab.pdf(path=str(paper), format="Letter")
    pages = len(re.findall(rb"/Type\s*/Page\b", paper.read_bytes()))
    assert 4 <= pages <= 20
    page.clean(sample_page)


def test_less_motion_when_asked(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page, reduced_motion="reduce")
    open_site(page.tab, 3)
    running = "document.getAnimations().length"
    assert page.tab.evaluate(running) == 0


@pytest.mark.parametrize(("wide", "high"), [(1440, 900), (390, 844)])
def test_hostile_names(
    hostile_plan: Path, visit: Callable, tmp_path: Path, wide: int, high: int
) -> None:
    path = make_page(hostile_plan, tmp_path / "page.html")
    page = visit(path, wide, high)
    tab = page.tab
    title = tab.title()
    for site in range(1, 7):
        open_site(tab, site)
        tab.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        assert tab.evaluate("document.documentElement.scrollWidth") <= wide
        name = " ".join(HOSTILE[site - 1].split())
        heading = tab.locator("#sheet h2 bdi").text_content()
        assert heading.casefold().rstrip("…") in name.casefold()
        assert " ".join(tab.locator("#sheet").text_content().split()).count(name) >= 2
    assert tab.locator("img, b script, #sheet script").count() == 0
    assert tab.title() == title
    assert tab.locator("#sheet h2 bdi").first.get_attribute("dir") == "auto"
    page.clean(path)


def test_a_plan_without_sites(empty_plan: Path, visit: Callable, tmp_path: Path) -> None:
    path = make_page(empty_plan, tmp_path / "page.html")
    page = visit(path)
    assert page.tab.locator("#nothing").inner_text().startswith("This plan has no sites")
    assert not page.tab.locator("#table").is_visible()
    page.tab.focus("#map")
    page.tab.keyboard.press("n")
    page.tab.keyboard.press("Enter")
    page.clean(path)


def test_what_a_reader_of_screens_is_told(sample_page: Path, visit: Callable) -> None:
    tab = visit(sample_page).tab
    assert tab.locator("#table").get_attribute("role") == "grid"
    for head in tab.locator("#heads th").all():
        assert head.get_attribute("scope") == "col"
        assert head.locator("button").count() == 1
    nameless = tab.evaluate(
        "() => [...document.querySelectorAll('button,select,input,[role=application]')].filter("
        "(e) => !(e.textContent.trim() || e.getAttribute('aria-label') || e.closest('label')))"
        ".map((e) => e.outerHTML)"
    )
    assert nameless == []
    assert tab.locator("h1").count() == 1
    open_site(tab, 3)
    for drawing in tab.locator("svg.sketch").all():
        assert "site 3" in drawing.get_attribute("aria-label")
    ids = tab.evaluate("[...document.querySelectorAll('[id]')].map((e) => e.id)")
    assert len(ids) == len(set(ids))


def test_ranks_on_the_map_lie_apart(sample_page: Path, visit: Callable) -> None:
    page = visit(sample_page)
    apart = """() => {
      const seen = [...document.querySelectorAll('g.rank')].filter(
        (g) => g.getAttribute('display') !== 'none');
      const boxes = seen.map((g) => g.querySelector('text').getBoundingClientRect());
      const touching = boxes.filter((a, i) => boxes.slice(i + 1).some((b) => a.left < b.right - 1
        && b.left < a.right - 1 && a.top + 3 < b.bottom && b.top + 3 < a.bottom));
      return [seen.length, touching.length];
    }"""
    page.tab.focus("#map")
    for key in ("0", "+", "+", "n"):
        page.tab.keyboard.press(key)
        page.settle()
        seen, touching = page.tab.evaluate(apart)
        assert seen > 3
        assert touching == 0


def test_a_work_has_one_sign_from_afar_and_tells_what_it_saves(
    sample_page: Path, visit: Callable
) -> None:
    page = visit(sample_page)
    tab = page.tab
    ranks = tab.locator(".rank:visible text").evaluate_all("all => all.map(e => e.textContent)")
    assert len(ranks) == len(set(ranks)), "a rank stands once"
    assert any(r.startswith("E") for r in ranks)
    row = tab.locator("#body tr[data-work]").first
    inner = int(row.locator(".fold").inner_text().split()[0])
    row.locator(".fold").click()
    assert tab.locator("#body tr.inner:not([hidden])").count() == inner
    assert page.chosen() == "", "the button only unfolds"
    row.locator("td.rank").click()
    work = tab.locator("#sheet .work")
    for words in ("Saves", "How sure", "Takes", "Doing less"):
        assert work.locator("dt", has_text=words).is_visible()
    assert work.locator(".steps li").count() == inner
    work.locator(".steps button").last.click()
    assert page.chosen() == tab.locator("#body tr.inner:not([hidden])").last.get_attribute(
        "data-site"
    )
    page.clean(sample_page)
