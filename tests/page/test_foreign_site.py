"""Row S8 of the reliability bar in a real browser: another site that is open beside the page reaches nothing of it."""

import http.server
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from helpers.page_server import Served, served
from helpers.page_work import bar

ATTACK = """<!doctype html><title>another site</title>
<iframe name="sink"></iframe>
<iframe id="frame" src="{page}"></iframe>
<img id="image" src="{page}static/icon.svg">
<form id="form" method="post" target="sink" action="{page}api/plans" enctype="text/plain">
<input name='{{"answers": {{"bar": "90 x 20 x 3 mm", "title": "x' value='"}}}}'></form>
<script src="{page}api/plans"></script>
<script>
const told = {{}};
const json = {{ "Content-Type": "application/json" }};
const note = (name, promise) => promise.then(
  (answer) => {{ told[name] = answer.type === "opaque" ? "opaque" : answer.status; }},
  () => {{ told[name] = "refused"; }});
const body = '{{"answers": {{"bar": "90 x 20 x 3 mm"}}}}';
const plans = "{page}api/plans";
const all = [
  note("read", fetch(plans)),
  note("read blindly", fetch(plans, {{ mode: "no-cors", credentials: "include" }})),
  note("post plain", fetch(plans, {{ method: "POST", mode: "no-cors", credentials: "include", body }})),
  note("post JSON", fetch(plans, {{ method: "POST", credentials: "include", headers: json, body }})),
  note("post with a token", fetch(plans, {{ method: "POST", headers: {{ ...json, "X-Token": "{token}" }}, body }})),
  note("the page", fetch("{page}")),
  new Promise((resolve) => {{
    const socket = new WebSocket("{page}api/plans".replace("http", "ws"));
    socket.onopen = () => {{ told.socket = "open"; resolve(); }};
    socket.onerror = () => {{ told.socket = "refused"; resolve(); }};
  }}),
];
navigator.sendBeacon(plans, body);
document.getElementById("form").submit();
Promise.all(all).then(() => setTimeout(() => {{ window.told = told; }}, 500));
</script>"""


@pytest.fixture(scope="module")
def ours(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("page")) as made:
        yield made


@pytest.fixture(scope="module")
def other_site(ours: Served) -> Iterator[str]:
    """Give the address of a site that tries everything; it even knows the token."""
    page = f"http://localhost:{ours.port}/"
    text = ATTACK.format(page=page, token=ours.page.door.token).encode()

    class Site(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        def log_message(self, *words: Any) -> None:
            pass

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Site) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}/"
        server.shutdown()


def test_another_site_in_the_same_browser_reaches_nothing(browser: Any, ours: Served, other_site: str):
    context = browser.new_context()
    own = context.new_page()
    own.goto(f"http://localhost:{ours.port}/")  # so that the browser has the cookie
    assert context.cookies()[0]["sameSite"] == "Strict"
    tab = context.new_page()
    tab.goto(other_site)
    told = tab.wait_for_function("window.told", timeout=20_000).json_value()
    assert told["socket"] == "refused"
    for name in ("read", "post JSON", "post with a token", "the page"):
        assert told[name] == "refused", name
    assert ours.page.work.done == []
    assert ours.page.store.plans() == []
    frame = next(one for one in tab.frames if one.name != "sink" and one != tab.main_frame)
    assert "token" not in frame.content()
    assert tab.evaluate("document.getElementById('image').naturalWidth") == 0
    context.close()


def test_the_page_itself_reaches_it_from_the_same_browser(browser: Any, ours: Served):
    tab = browser.new_page()
    tab.goto(f"http://localhost:{ours.port}/")
    status = tab.evaluate(
        """async (answers) => (await fetch("/api/plans", { method: "POST", body: JSON.stringify({ answers }), headers: {
            "Content-Type": "application/json", "X-Token": document.querySelector("meta[name=token]").content } })).status""",
        bar(),
    )
    assert status == 202
    tab.close()


def test_a_script_in_the_markup_does_not_run(browser: Any, ours: Served, tmp_path: Path):
    tab = browser.new_page()
    complaints: list[str] = []
    tab.on("console", lambda message: complaints.append(message.text))
    tab.goto(f"http://localhost:{ours.port}/")
    tab.evaluate(
        """() => { document.body.insertAdjacentHTML("beforeend", '<img src="/none" onerror="window.hit = 1">');
            const script = document.createElement("script"); script.textContent = "window.hit = 2"; document.body.append(script);
            const far = document.createElement("img"); far.src = "http://127.0.0.2:9/x"; document.body.append(far); }"""
    )
    tab.wait_for_timeout(300)
    assert tab.evaluate("window.hit === undefined")
    assert sum("Content Security Policy" in text for text in complaints) >= 3
    tab.close()
