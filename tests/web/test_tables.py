"""Tables pasted from elsewhere."""

from __future__ import annotations

from django.test import Client

from pitbird.fleet.state import DetectorState
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.web.views.tables import TABLES

HEAD = (
    "detector;make;model;serial;home;signals;channel;gas;principle;unit;range_high;clean_air;"
    "clean_air_tolerance;alarms"
)
CO = 'CO;carbon monoxide;electrochemical;ppm;500;0;3;"low 30; high 60"'
ROWS = f"""\
D-051;Brindlow;Gillmark C;GC-51;north-works;sound light;{CO}
D-052;Brindlow;Gillmark C;GC-52;north-works;sound light;{CO}
"""


def test_a_table_is_written_whole(keeper: Client) -> None:
    answer = keeper.post("/tables/detectors", {"table": f"{HEAD}\n{ROWS}"})
    assert (answer.status_code, answer["Location"]) == (302, "/detectors")
    state = Now().state("detector:D-052")
    assert isinstance(state, DetectorState)
    assert [alarm.at for alarm in state.channels[0].alarms] == ["30", "60"]
    assert "2 entries were written." in keeper.get("/detectors").content.decode()


def test_a_table_with_faults_names_each_with_its_line_and_writes_nothing(keeper: Client) -> None:
    broken = f"{HEAD}\n{ROWS}".replace("GC-52;north-works", "GC-52;south-works").replace("GC-51", "")
    answer = keeper.post("/tables/detectors", {"table": broken})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "line 2: detector.serial" in page
    assert "Brindlow" in page  # what was pasted is still there
    assert book.head().size == 17
    answer = keeper.post("/tables/detectors", {"table": broken.replace(";;north", ";GC-51;north")})
    assert "line 3: detector.home" in answer.content.decode()
    assert book.head().size == 17


def test_every_sort_of_table_explains_its_columns(keeper: Client) -> None:
    for name in TABLES:
        assert "What stands in it" in keeper.get(f"/tables/{name}").content.decode()
    assert keeper.get("/tables/nonsense").status_code == 404


def test_tables_are_the_keepers(tester: Client) -> None:
    assert tester.post("/tables/tests", {"table": "x"}).status_code == 403
