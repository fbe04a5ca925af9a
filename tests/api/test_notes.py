"""Notes after the flight: kept with who and when, in the report, beside a flown run that stays as it is."""

from collections.abc import AsyncIterator, Iterator

import pytest
from tests.serving_thread import Serving, serving

from spinfloor.client import Client, ServiceError


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    with serving(tmp_path_factory.mktemp("notes")) as running:
        yield running


@pytest.fixture
async def client(service: Serving) -> AsyncIterator[Client]:
    async with Client(service.base) as made:
        yield made


async def test_a_note_is_kept_and_printed_and_no_event(service: Serving, client: Client) -> None:
    sortie = service.sortie("noted")
    before = await client.events(sortie)
    made = await client.note(sortie, "  the card was B2,\n not B1 ", by="test conductor", spin=2)
    assert (made["text"], made["by"], made["spin"]) == ("the card was B2, not B1", "test conductor", 2)
    await client.note(sortie, "wind calm", by="engineer")
    kept = [record for record in await client.audit(sortie) if record["action"] == "note"]
    assert [(r["by"], r["data"]["text"], r["data"]["spin"]) for r in kept] == [
        ("test conductor", "the card was B2, not B1", 2),
        ("engineer", "wind calm", None),
    ]
    report = (await client.report(sortie)).decode()
    assert "the card was B2, not B1" in report
    assert "wind calm" in report
    assert await client.events(sortie) == before


REFUSED: tuple[dict[str, object], ...] = (
    {"text": " ", "by": "x"}, {"text": "x", "by": ""}, {"text": "x", "by": "x", "spin": 0}, {"text": "x" * 1001, "by": "x"}, {},
)  # fmt: skip


async def test_a_note_without_who_or_what_is_refused(service: Serving) -> None:
    sortie = service.sortie("unnoted")
    for body in REFUSED:
        answer = service.http.post(f"/v1/sorties/{sortie}/notes", json=body)
        assert (answer.status_code, answer.json()["code"]) == (422, "bad-request")
    assert not [r for r in service.http.get(f"/v1/sorties/{sortie}/audit").json()["records"] if r["action"] == "note"]


async def test_a_note_of_no_sortie_is_refused(client: Client) -> None:
    with pytest.raises(ServiceError) as refused:
        await client.note("nowhere", "x", by="x")
    assert refused.value.status == 404
