"""Some thousands of requests that no honest browser sends: none is served, and the page works right afterwards."""

from __future__ import annotations

import http.client
import shutil

import pytest
from playwright.sync_api import expect

from fieldworthy.web.access import well_formed
from fieldworthy.web.workspace import is_plain_name
from robots import EXAMPLES
from web.browser import serving, show, window
from web.hostile import Attacker

SCENE = """junk => {
  const clicks = e => (e.events || []).some(v => v.type === "click3d");
  const scenes = Object.entries(mounted_app.elements).filter(([_, e]) => clicks(e));
  for (const [id, element] of scenes)
    for (const {listener_id} of element.events)
      for (const told of junk) {
        const args = [JSON.stringify(told)];
        window.socket.emit("event", {id: Number(id), client_id: window.clientId, listener_id, args});
      }
  return scenes.length;
}"""
"""Sends what the drawing in three dimensions would never say of a click."""
JUNK_OF_SCENE = ({}, [], {"hits": "x"}, {"hits": [{}], "click_type": 3}, {"hits": [{"object_name": "../x"}]})


@pytest.mark.long
def test_nothing_is_served_to_the_hostile_and_the_page_goes_on(browser, tmp_path):
    folder = tmp_path / "team"
    shutil.copytree(EXAMPLES, folder)
    (tmp_path / "secret.yaml").write_text("SECRET", encoding="utf-8")
    with serving(folder) as server:
        attacker = Attacker(server.port, came_in(server), seed=1)
        tally = attacker.run(2000)
        assert tally.served == []
        assert sum(tally.tried.values()) > 2000
        assert set(tally.tried) == {
            "host", "origin", "token", "cookie", "method", "path", "size", "upload", "nonsense", "socket", "message",
        }  # fmt: skip
        assert server.process.poll() is None
        assert not any("Traceback" in line for line in server.lines)
        with window(browser, server) as page:
            show(page, server, "build", file="mk1.yaml", part="turning")
            page.wait_for_selector("canvas")
            assert page.evaluate(SCENE, JUNK_OF_SCENE) == 1
            show(page, server, "margins", file="mk1.yaml")
            expect(page.locator("#margins-rows > li")).not_to_have_count(0)
        assert server.process.poll() is None
        assert not any("Traceback" in line for line in server.lines)


def came_in(server) -> str:
    """The cookie of someone who opened the address."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    connection.request("GET", server.opening.removeprefix(server.base))
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.headers["set-cookie"].partition(";")[0]


@pytest.mark.parametrize(
    ("event", "message", "fine"),
    [
        ("event", {"client_id": "c", "id": 3, "listener_id": "l", "args": ["{}"]}, True),
        ("event", {"client_id": "c", "id": 3, "listener_id": "l", "args": [{}]}, False),
        ("event", {"client_id": "c", "id": "3", "listener_id": "l", "args": []}, False),
        ("event", {"client_id": 1, "id": 3, "listener_id": "l", "args": []}, False),
        ("event", [], False),
        ("event", None, False),
        ("ack", {"client_id": "c", "next_message_id": 5}, True),
        ("ack", {"client_id": "c", "next_message_id": "5"}, False),
        ("log", {"client_id": "c", "level": "error", "message": "m"}, True),
        ("log", {"client_id": "c", "level": "fatal", "message": "m"}, False),
        ("handshake", {"client_id": "c", "tab_id": "t", "document_id": "d"}, True),
        ("handshake", {"client_id": "c", "tab_id": None, "document_id": "d"}, False),
        ("javascript_response", {"client_id": "c", "request_id": "r"}, True),
        ("javascript_response", {"client_id": "c"}, False),
    ],
)
def test_only_whole_messages_reach_the_framework(event, message, fine):
    assert well_formed(event, message) == fine


@pytest.mark.parametrize(
    ("name", "fine"),
    [
        ("log.csv", True),
        ("Log 3.CSV", True),
        ("log.csv.exe", False),
        ("../log.csv", False),
        ("a/log.csv", False),
        ("", False),
        ("a\\log.csv", False),
        (".csv", False),
        ("log.csv\x00", False),
        ("x" * 200 + ".csv", False),
        ("log", False),
        ("c:log.csv", False),
    ],
)
def test_names_of_files_that_are_brought(name, fine):
    assert is_plain_name(name, (".csv",)) == fine


JUNK = (
    {"do": "placed", "of": "parts.battery.position", "dx": "NaN", "dy": "x", "dz": "1e999"},
    {"do": "placed", "of": "drive.motors", "dx": "1", "sizes": "yes"},
    {"do": "more", "of": "mechanisms.side arms.arm", "kind": "__class__"},
    {"do": "more", "of": "season.limits", "kind": "../.."},
    {"do": "rename", "of": "mechanisms.intake.stages.rear", "value": "a\nb: {c"},
    {"do": "rename", "of": "mechanisms.intake.stages.nothing", "value": "x"},
    {"do": "copy", "of": "mechanisms.intake.stages"},
    {"do": "gone", "of": "mechanisms"},
    {"do": "shelf", "of": "mechanisms", "place": "99999999"},
    {"do": "shelf", "of": "fieldworthy", "place": "0"},
    {"do": "taken"},
    {"do": "fill", "of": "mechanisms.intake.stages"},
)
"""What buttons of other pages, or of none, would ask of Build; each names what is not there or cannot be."""
JUNK_OF_PARTS = (
    {"do": "meshed"},
    {"do": "mesh"},
    {"do": "sort", "of": "__dict__"},
    {"do": "table", "kind": "exe"},
    {"do": "paste"},
)
JUNK_OF_PLAN = (
    {"do": "one-more", "of": "solo.steps"},
    {"do": "out", "of": "driven 99"},
    {"do": "step", "of": "driven", "way": "9"},
    {"do": "step", "of": "", "way": "up"},
    {"do": "repeat", "of": "x"},
    {"do": "placed", "of": "season.field.places.nowhere", "dx": "NaN"},
    {"do": "pick", "of": "../../secret"},
)
JUNK_OF_MERGING = (
    {"do": "conflict", "value": "both"},
    {"do": "back-to", "of": "../../secret.yaml"},
    {"do": "past", "of": "9999-99-99"},
    {"do": "other", "of": "/etc/passwd"},
)


@pytest.mark.long
def test_junk_in_place_of_what_buttons_ask_changes_nothing(browser, server, heron):
    folder = server.folder / heron
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with window(browser, server) as page:
        for view, query, junk, seen in (
            ("build", {"key": "mechanisms.intake.object"}, JUNK, "#build-rows li"),
            ("build", {"part": "plan"}, JUNK_OF_PLAN, "[data-do=one-more]"),
            ("versions", {}, JUNK_OF_MERGING, "#in-variant"),
            ("build", {"part": "parts"}, JUNK_OF_PARTS, "#parts-rows tr"),
        ):
            show(page, server, view, file=f"{heron}/mk1.yaml", **query)
            page.wait_for_selector(seen)
            for asked in junk:
                page.evaluate(
                    """asked => {
                      const button = document.createElement("button");
                      button.type = "button";
                      for (const [name, value] of Object.entries(asked)) button.dataset[name] = value;
                      document.getElementById("fw-view").append(button);
                      button.click();
                      button.remove();
                    }""",
                    asked,
                )
        expect(page.locator("#fw-state")).to_have_text("saved")
        expect(page.locator("#fw-notes")).not_to_contain_text("That did not work")
        page.locator("[data-do=sort][data-of=mass]").click()  # it answers still
        expect(page.locator("#parts-rows tr").first).to_be_visible()
    assert not any("Traceback" in line for line in server.lines)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
