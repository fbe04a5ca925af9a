"""InputJournal: the order of record."""

from __future__ import annotations

import asyncio

import numpy as np
import pytest
from tests.ports.contract.sides import Side, batch

from spinfloor.core.events import Mark
from spinfloor.ports import FloorsInput, FramesInput, JournalEntry, MarkInput, TickInput
from spinfloor.ports.errors import OverloadedError, UnknownSortieError
from spinfloor.ports.inputs import Input


def assert_same(got: JournalEntry, sent: object) -> None:
    if not isinstance(sent, FramesInput):
        assert got.input == sent
        return
    assert isinstance(got.input, FramesInput)
    assert (got.input.source, got.input.sequence, got.input.received_ns) == (
        sent.source,
        sent.sequence,
        sent.received_ns,
    )
    assert got.input.block.time_ns.tobytes() == sent.block.time_ns.tobytes()
    same = np.isnan(got.input.block.values) & np.isnan(sent.block.values)
    assert (same | (got.input.block.values.view(np.int64) == sent.block.values.view(np.int64))).all()


async def test_every_kind_of_input_comes_back_in_order_and_bit_for_bit(side: Side) -> None:
    sortie = await side.sortie()
    sent: list[Input] = [
        batch(0),
        TickInput(5_000, 8),
        MarkInput(Mark("note", 6_000, "test conductor", {"text": "ça va"}), 9),
        MarkInput(Mark("controls_applied", 6_001, "engineer", {}), 9, key="k1"),
        FloorsInput({"recovery_ft": 6000.0, "chute_ft": None}, 6_002, "test conductor", 10, key="k2"),
        batch(1, n=0),
        batch(2, n=1),
    ]
    offsets = [(await side.ports.inputs.append(sortie, one)).offset for one in sent]
    assert offsets == sorted(set(offsets))
    got = await side.ports.inputs.read(sortie)
    assert [entry.offset for entry in got] == offsets
    for entry, one in zip(got, sent, strict=True):
        assert_same(entry, one)
    assert await side.ports.inputs.newest_offset(sortie) == offsets[-1]


@pytest.mark.parametrize("source", ["a", "a.b", "*", ">", "  spaced  ", "übermaß", "x" * 64, "-", "A" * 3])
async def test_any_source_name_is_its_own(side: Side, source: str) -> None:
    sortie = await side.sortie()
    first = await side.ports.inputs.append(sortie, batch(0, source=source))
    other = await side.ports.inputs.append(sortie, batch(0, source=source + "2"))
    assert not first.duplicate
    assert not other.duplicate
    assert [state.source for state in await side.ports.inputs.sources(sortie)] == sorted([source, source + "2"])


async def test_an_identity_is_taken_once_however_late(side: Side) -> None:
    sortie = await side.sortie()
    first = await side.ports.inputs.append(sortie, batch(0))
    mark = MarkInput(Mark("acknowledge", 1, "engineer", {}), 1, key="same")
    marked = await side.ports.inputs.append(sortie, mark)
    for sequence in range(1, 60):
        await side.ports.inputs.append(sortie, batch(sequence, n=1))
    again = await side.ports.inputs.append(sortie, batch(0))
    assert (again.duplicate, again.offset) == (True, first.offset)
    marked_again = await side.ports.inputs.append(sortie, mark)
    assert (marked_again.duplicate, marked_again.offset) == (True, marked.offset)
    assert len(await side.ports.inputs.read(sortie)) == 61


async def test_an_identity_offered_at_once_by_many_is_taken_once(side: Side) -> None:
    sortie = await side.sortie()
    answers = await asyncio.gather(*(side.ports.inputs.append(sortie, batch(3)) for _ in range(12)))
    assert [answer.duplicate for answer in answers].count(False) == 1
    assert len({answer.offset for answer in answers}) == 1


async def test_inputs_without_identity_are_all_kept(side: Side) -> None:
    sortie = await side.sortie()
    note = MarkInput(Mark("note", 1, "engineer", {}), 1)
    for one in (TickInput(1, 1), TickInput(1, 1), note, note):
        assert not (await side.ports.inputs.append(sortie, one)).duplicate
    assert len(await side.ports.inputs.read(sortie)) == 4


async def test_reading_goes_on_from_any_place(side: Side) -> None:
    sortie = await side.sortie()
    offsets = [(await side.ports.inputs.append(sortie, batch(i, n=1))).offset for i in range(7)]
    for place, offset in enumerate(offsets):
        rest = await side.ports.inputs.read(sortie, after=offset, limit=3)
        assert [entry.offset for entry in rest] == offsets[place + 1 : place + 4]


async def test_a_follower_gets_old_and_new_without_a_hole(side: Side) -> None:
    sortie = await side.sortie()
    for i in range(5):
        await side.ports.inputs.append(sortie, batch(i, n=1))
    seen: list[int] = []
    half, all_of_them = asyncio.Event(), asyncio.Event()

    async def follow() -> None:
        async for entries in side.ports.inputs.follow(sortie):
            seen.extend(entry.input.sequence for entry in entries if isinstance(entry.input, FramesInput))
            if len(seen) >= 5:
                half.set()
            if len(seen) >= 300:
                all_of_them.set()

    task = asyncio.create_task(follow())
    await asyncio.wait_for(half.wait(), 10)
    await asyncio.gather(*(side.ports.inputs.append(sortie, batch(i, n=1)) for i in range(5, 50)))
    for i in range(50, 300):
        await side.ports.inputs.append(sortie, batch(i, n=1))
    await asyncio.wait_for(all_of_them.wait(), 20)
    task.cancel()
    assert sorted(seen) == list(range(300))
    assert seen[50:] == list(range(50, 300))


async def test_sorties_do_not_see_each_other(side: Side) -> None:
    one, two = await side.sortie(), await side.sortie()
    await side.ports.inputs.append(one, batch(0))
    assert await side.ports.inputs.read(two) == []
    assert await side.ports.inputs.newest_offset(two) == -1
    assert await side.ports.inputs.sources(two) == []


async def test_an_unknown_sortie_is_refused(side: Side) -> None:
    with pytest.raises(UnknownSortieError):
        await side.ports.inputs.append("nobody", batch(0))


async def test_a_flood_is_refused_and_the_neighbour_is_served(side: Side) -> None:
    flooded, neighbour = await side.sortie(), await side.sortie()
    big = [batch(i, n=2_000) for i in range(80)]
    flood = [asyncio.create_task(side.ports.inputs.append(flooded, one)) for one in big]
    taken = await asyncio.wait_for(side.ports.inputs.append(neighbour, batch(0)), 10)
    answers = await asyncio.gather(*flood, return_exceptions=True)
    refused = [answer for answer in answers if isinstance(answer, BaseException)]
    assert not taken.duplicate
    assert refused
    assert all(isinstance(answer, OverloadedError) for answer in refused)
    kept: list[JournalEntry] = []
    while entries := await side.ports.inputs.read(flooded, after=kept[-1].offset if kept else -1):
        kept += entries
    assert len(kept) == len(answers) - len(refused)


async def test_sources_say_how_far_they_got(side: Side) -> None:
    sortie = await side.sortie()
    for sequence in (0, 1, 5, 3):
        await side.ports.inputs.append(sortie, batch(sequence, source="a"))
    await side.settle()
    await side.ports.inputs.append(sortie, batch(4, source="a"))
    await side.ports.inputs.append(sortie, batch(0, source="b", n=2))
    await side.ports.inputs.append(sortie, batch(0, source="b", n=2))
    a, b = await side.ports.inputs.sources(sortie)
    assert (a.source, a.last_sequence, a.batches, a.frames, a.last_time_ns) == ("a", 5, 5, 15, 6_020)
    assert (b.source, b.last_sequence, b.batches, b.frames, b.last_time_ns) == ("b", 0, 1, 2, 1_010)


async def test_many_at_once_are_as_if_one_after_another(side: Side) -> None:
    sortie = await side.sortie()
    await side.ports.inputs.append(sortie, batch(1))
    many: list[Input] = [batch(0), TickInput(5_000, 8), batch(1), batch(2)]
    done = await side.ports.inputs.append_all(sortie, many)
    assert [one.duplicate for one in done] == [False, False, True, False]
    got = await side.ports.inputs.read(sortie)
    for entry, one in zip(got, [batch(1), many[0], many[1], many[3]], strict=True):
        assert_same(entry, one)
    assert [entry.offset for entry in got] == [done[2].offset, done[0].offset, done[1].offset, done[3].offset]
    with pytest.raises(UnknownSortieError):
        await side.ports.inputs.append_all("nobody", many)
    assert await side.ports.inputs.append_all(sortie, []) == []
