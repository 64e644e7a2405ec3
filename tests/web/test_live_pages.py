"""Live measurement in a real browser with a known input signal: its figures against the truth, and the controls of the page."""

from __future__ import annotations

import hashlib
import io
import json
import math
import subprocess
import sys
import time
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs

import numpy as np
import pytest
import soundfile
from browser_acts import CHROMIUM, FLAGS, click
from scipy import integrate
from web_server import WebServer

from gainwright.signals import Tone, render

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    import httpx
    from playwright.sync_api import Browser, BrowserContext, Page, WebSocketRoute
    from warm_program import WarmProgram

RATE_HZ, TONE_HZ = 44_100, 997.0
SIZES = {"phone": {"width": 390, "height": 844}, "desktop": {"width": 1280, "height": 900}}
PATIENCE_S = 40.0
LEAVES_ON = """
const plain = MediaStreamTrack.prototype.getSettings;
MediaStreamTrack.prototype.getSettings = function () { return { ...plain.call(this), autoGainControl: true, noiseSuppression: true }; };
"""
LOSES = """
const plain = WebSocket.prototype.send;
let count = 0;
WebSocket.prototype.send = function (data) { if (typeof data === "string" || ++count % 200) plain.call(this, data); };
"""
INSECURE = 'Object.defineProperty(navigator, "mediaDevices", { get: () => undefined });'


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory, program: WarmProgram) -> Iterator[WebServer]:
    """A server that keeps calibrations in a folder of the tests."""
    folder = tmp_path_factory.mktemp("live")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(folder / "config"))
        running = WebServer(folder, program=program).start()
        yield running
        running.stop()


class Listener:
    """A page in its own browser with a file as input, and the messages that it received."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.updates: list[dict[str, Any]] = []
        page.on("websocket", lambda socket: socket.on("framereceived", self._got))

    def _got(self, frame: str | bytes) -> None:
        message = json.loads(frame)
        if message["kind"] == "update" and message["reading"]:
            self.updates.append(message)

    def start(self) -> Listener:
        """Press Start, and wait for the first figures."""
        click(self.page.get_by_role("button", name="Start"))
        return self.fresh()

    def fresh(self) -> Listener:
        """Wait until all that is measured came in from now on: the window is a third of a second."""
        before = len(self.updates)
        self.until(lambda: len(self.updates) >= before + 12)
        return self

    def until(self, true: Callable[[], object]) -> None:
        """Wait; the page's own policy refuses Playwright's way to wait for a function."""
        end = time.monotonic() + PATIENCE_S
        while not true():
            assert time.monotonic() < end, f"it didn't come about; {self.page.locator('#live').inner_text()[:600]}"
            self.page.wait_for_timeout(50)

    @property
    def last(self) -> dict[str, Any]:
        """The last update."""
        return self.updates[-1]

    @property
    def channel(self) -> dict[str, Any]:
        """The page's text about the first channel."""
        found: dict[str, Any] = self.last["reading"]["channels"][0]
        return found

    def text(self, part: str) -> str:
        """Return what a part of the page shows."""
        return str(self.page.locator(part).inner_text())


@pytest.fixture(scope="module")
def hearing(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[np.ndarray], Browser]]:
    """Start a browser whose microphone is a file, one for each signal: it plays from its beginning for each page that listens."""
    running: dict[bytes, Browser] = {}
    folder = tmp_path_factory.mktemp("heard")

    def started(samples: np.ndarray) -> Browser:
        signal = hashlib.sha256(samples.tobytes()).digest()
        if signal not in running:
            file = folder / f"heard{len(running)}.wav"
            # 24 bits would be silence: the browser's pretended microphone doesn't read them
            soundfile.write(file, samples, RATE_HZ, subtype="FLOAT")
            flags = (*FLAGS, "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
            running[signal] = browser.browser_type.launch(
                executable_path=CHROMIUM, args=[*flags, f"--use-file-for-fake-audio-capture={file}"]
            )
        return running[signal]

    yield started
    for one in running.values():
        one.close()


@pytest.fixture
def listening(hearing: Callable[[np.ndarray], Browser], server: WebServer) -> Iterator[Callable[..., Listener]]:
    """Open a page in a browser whose microphone is a file: `listening(samples, "/live")`; errors of its console fail the test."""
    opened: list[BrowserContext] = []
    errors: list[str] = []

    def listen(
        samples: np.ndarray, path: str, *, size: str = "desktop", dark: bool = False, script: str = ""
    ) -> Listener:
        context = hearing(samples).new_context(
            viewport=SIZES[size],  # type: ignore[arg-type]
            base_url=server.address,
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce",
        )
        opened.append(context)
        context.add_cookies([server.cookie])
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda m: errors.append(m.text) if "Content Security Policy" in m.text else None)
        if script:
            page.add_init_script(script)
        page.goto(path)
        return Listener(page)

    yield listen
    for context in opened:
        context.close()
    assert errors == []


def tone(*, level_dbfs: float = -6.0, seconds: float = 60.0, hz: float = TONE_HZ) -> np.ndarray:
    """Return a mono tone."""
    made = Tone(hz, (level_dbfs,), seconds, rate_hz=RATE_HZ, bits=24, sides="mono")
    return np.asarray(render(made))


def clipped(*, peak: float, ceiling: float) -> np.ndarray:
    """Return a tone cut off at a ceiling."""
    return np.clip(tone(level_dbfs=0.0) * peak, -ceiling, ceiling)


def harmonics_of_cut(*, peak: float, ceiling: float, count: int) -> list[float]:
    """Return the first harmonics' peaks of a sine cut at a ceiling, by the Fourier integral itself."""
    corner = math.asin(ceiling / peak)

    def of(order: int) -> float:
        def under(t: float) -> float:
            return min(peak * math.sin(t), ceiling) * math.sin(order * t)

        value, _ = integrate.quad(under, 0, math.pi / 2, points=[corner], limit=400)
        return float(abs(4 / math.pi * value))

    return [of(order) for order in range(1, count + 1, 2)]


def test_frequency_level_and_pace(listening: Callable[..., Listener], job: str) -> None:
    """997 Hz within 0.01 Hz and -6 dBFS within 0.05 dB, in the messages and on the page; at least ten updates per second are painted."""
    heard = listening(tone(), f"/jobs/{job}/live").start()
    assert heard.channel["frequency_hz"] == pytest.approx(TONE_HZ, abs=0.01)
    assert heard.channel["fundamental_dbfs"] == pytest.approx(-6.0, abs=0.05)
    assert heard.channel["verdict"] == "clean"
    assert heard.channel["thd_percent"] < 0.01
    heard.until(lambda: heard.text("#frequency") == "997.00")
    assert float(heard.text("#level").replace("\u2212", "-")) == pytest.approx(-6.0, abs=0.05)
    assert heard.text("#unit") == "dBFS"
    assert heard.text("#verdict") == "clean"
    assert float(heard.text("#room")) == pytest.approx(6.0, abs=0.1)
    assert "44100 Hz" in heard.text("#about")
    # other work on the same machine may hold it up for a while
    heard.until(lambda: float(heard.page.locator("#live").get_attribute("data-rate") or 0) >= 10)
    assert 0 < float(heard.page.locator("#live").get_attribute("data-delay") or 0) < 2000


def test_clipped_tone_and_its_ceilings(listening: Callable[..., Listener], job: str) -> None:
    """A sine of 0.9 clipped at 0.7: THD and fundamental by the Fourier integral; both ceilings drawn where they are."""
    heard = listening(clipped(peak=0.9, ceiling=0.7), f"/jobs/{job}/live").start()
    first, *others = harmonics_of_cut(peak=0.9, ceiling=0.7, count=int(20_000 / TONE_HZ))
    thd_percent = 100 * math.sqrt(sum(v * v for v in others)) / first
    assert heard.channel["thd_percent"] == pytest.approx(thd_percent, rel=1e-3)
    assert heard.channel["fundamental_dbfs"] == pytest.approx(20 * math.log10(first), abs=0.05)
    assert heard.channel["clip_depth_db"] == pytest.approx(20 * math.log10(0.9 / 0.7), abs=0.02)
    assert heard.text("#verdict") == "clipped"
    assert "clipped" in heard.text("#held")
    assert float(heard.text("#thd")) == pytest.approx(thd_percent, rel=1e-3)
    drawn = next(u["pictures"] for u in reversed(heard.updates) if u["pictures"])
    assert (drawn["upper"], drawn["lower"]) == pytest.approx((0.7, -0.7), abs=2e-3)
    assert heard.page.locator("#wave .ceiling").count() == 2
    assert "clipped above and below" in str(heard.page.locator("#wave").get_attribute("aria-label"))
    # a symmetric cut has odd harmonics only
    assert heard.page.locator("#spectrum .word").all_text_contents()[:3] == ["3", "5", "7"]


def test_browser_processing_that_stays_on_is_reported(
    listening: Callable[..., Listener], job: str, api: httpx.Client
) -> None:
    """A browser that keeps automatic gain on: levels are marked as unreliable, calibration is refused, and a recording keeps the note."""
    heard = listening(tone(), f"/jobs/{job}/live", script=LEAVES_ON).start()
    assert "automatic gain and noise suppression" in heard.text("#distrust")
    heard.until(lambda: "unreliable" in heard.text("#verdict"))
    heard.page.get_by_label("The meter reads").fill("1 V")
    click(heard.page.get_by_role("button", name="Use this reading"))
    heard.page.get_by_text("keeps automatic gain and noise suppression on").last.wait_for()
    heard.page.get_by_label("Seconds", exact=True).fill("1")
    click(heard.page.get_by_role("button", name="Record", exact=True))
    heard.page.get_by_text("unreliable: automatic gain and noise suppression on").wait_for()
    (kept,) = api.get(f"/api/jobs/{job}/recordings").json()
    assert kept["measured"]["about"]["processing"] == ["automatic gain", "noise suppression"]


def test_calibration_is_kept_by_input_and_gain(listening: Callable[..., Listener], job: str) -> None:
    """The tone is entered as 350 mV by the meter; remembered for this gain, not for another; volts are shown."""
    heard = listening(tone(), f"/jobs/{job}/live")
    heard.page.get_by_label("Gain").fill("noon")
    heard.start()
    heard.page.get_by_label("The meter reads").fill("0,35")
    click(heard.page.get_by_role("button", name="Use this reading"))
    heard.until(lambda: heard.last["calibrate_v"] and heard.text("#unit") == "mV")
    heard.fresh()
    assert heard.channel["v_rms"] == pytest.approx(0.35, rel=2e-3)
    assert float(heard.text("#level")) == pytest.approx(350, rel=2e-3)
    for gain, known in (("full", False), ("noon", True)):
        click(heard.page.get_by_role("button", name="Stop"))
        heard.page.get_by_label("Gain").fill(gain)
        heard.updates.clear()
        heard.start()
        assert (heard.last["calibrate_v"] is not None) is known


@pytest.mark.parametrize("asked", ["volts", "column"])
def test_reading_is_taken_for_a_step(listening: Callable[..., Listener], api: httpx.Client, asked: str) -> None:
    """The step's expectation is shown beside the reading; once taken, the volts are in the run, for a column with the step number."""
    job = api.post("/api/jobs", json={"like": "one_amplifier"}).json()["id"]
    now = {step["id"]: step for step in api.get(f"/api/jobs/{job}/run").json()["steps"]}
    plan = api.get(f"/api/jobs/{job}/plan").json()["steps"]
    steps = [s for s in plan if s["tone_hz"] and s["expect"] and now[s["id"]]["asked"] == asked]
    step = next(s for s in steps if s["expect"]["quantity"] == "v_rms")
    heard = listening(tone(hz=step["tone_hz"]), f"/jobs/{job}/live?step={step['id']}")
    assert step["do"].split(".")[0][:30] in heard.page.locator("main").inner_text()
    heard.page.get_by_label("Gain").fill(asked)
    heard.start()
    take = heard.page.get_by_role("button", name="Enter this reading")
    assert take.is_disabled()
    volts = step["expect"]["value"]
    heard.page.get_by_label("The meter reads").fill(f"{volts:.5f} V")
    click(heard.page.get_by_role("button", name="Use this reading"))
    heard.until(take.is_enabled)
    # a column's expectation holds where its control ends, not on the way there
    assert heard.page.locator("#fits").is_visible() is (asked == "volts")
    assert heard.page.locator("#fits").text_content() == ("as expected" if asked == "volts" else "")
    if asked == "column":
        heard.page.get_by_label("Control at step").fill("12")
        heard.fresh()
    with heard.page.expect_request(lambda r: r.method == "POST" and f"/setup/{step['id']}" in r.url) as sent:
        click(take)
    text = parse_qs(str(sent.value.post_data))["text"][0]
    assert float(text.removesuffix(" V").split()[-1]) == pytest.approx(volts, rel=2e-3)
    heard.page.wait_for_url("**/setup/**")
    (entry,) = api.get(f"/api/jobs/{job}/run").json()["entries"]
    assert (entry["step"], entry["kind"], entry["text"]) == (step["id"], "reading", text)


def test_another_tone_and_automatic_gain_are_told(
    listening: Callable[..., Listener], api: httpx.Client, job: str
) -> None:
    """A step's 40 Hz, 997 Hz played: told as such, nothing is measured, nothing to enter; the caution is there from the start.

    Then two levels that come in alike: automatic gain is told, and marks what is shown.
    """
    plan = api.get(f"/api/jobs/{job}/plan").json()["steps"]
    step = next(s for s in plan if s["tone_hz"] and s["tone_hz"] < 100 and s["expect"])
    heard = listening(tone(), f"/jobs/{job}/live?step={step['id']}", size="phone")
    assert "only through a divider" in heard.text("#notes")
    assert "nothing measured yet" in heard.text("#held")
    heard.start()
    asked = f"Asked for {step['tone_hz']:g} Hz, heard 99"  # a busy machine's pretended microphone is a little off
    heard.until(lambda: heard.text("#heard").startswith(asked))
    assert heard.text("#heard").endswith(" Hz: play the tone that is asked for.")
    assert heard.text("#verdict") == "other tone"
    assert "nothing measured yet" in heard.text("#held")
    assert "clean" not in heard.text("#held")
    assert "only through a divider" in heard.text("#notes")
    assert heard.page.get_by_role("button", name="Enter this reading").is_disabled()
    heard.page.get_by_text("Check this input with two levels").click()
    quiet = heard.page.get_by_role("button", name="Take the quieter tone")
    assert quiet.is_disabled()
    click(heard.page.get_by_role("button", name="Take the louder tone"))
    heard.until(quiet.is_enabled)
    click(quiet)
    heard.until(lambda: "automatic gain of this input is on" in heard.text("#levels-result"))
    assert heard.page.locator("#distrust").is_visible()
    heard.until(lambda: heard.text("#verdict") == "other tone, unreliable")


def test_failed_measurement_is_not_started_again(listening: Callable[..., Listener]) -> None:
    """A server that ends a measurement: its sentence, and no further connection; one that breaks off each time: no end without a word."""
    heard = listening(tone(seconds=1), "/live")
    opened: list[WebSocketRoute] = []
    ended = {
        "kind": "trouble",
        "ended": True,
        "code": "failed",
        "where": "",
        "what": "it failed",
        "rule": "",
        "remedy": "start again",
    }

    def serve(socket: WebSocketRoute) -> None:
        opened.append(socket)
        socket.send(json.dumps({"kind": "begun", "device": "x"}))
        if len(opened) == 1:
            socket.send(json.dumps(ended))
        else:
            socket.close(code=1011)

    heard.page.route_web_socket("**/api/live", serve)
    for count, words in ((1, "it failed; start again"), (6, "breaks off again and again")):
        click(heard.page.get_by_role("button", name="Start"))
        heard.page.locator("#problem", has_text=words).wait_for()
        heard.page.get_by_role("button", name="Start").wait_for()
        assert heard.text("#verdict") == "stopped"
        assert len(opened) == count


def assert_same_figures(one: object, other: object) -> None:
    """Two answers say the same; figures may differ by how sums are rounded in two processes."""
    if isinstance(one, dict) and isinstance(other, dict):
        assert one.keys() == other.keys()
        one, other = list(one.values()), list(other.values())
    if isinstance(one, list) and isinstance(other, list):
        for mine, theirs in zip(one, other, strict=True):
            assert_same_figures(mine, theirs)
    elif isinstance(one, float) and isinstance(other, float):
        assert one == pytest.approx(other, rel=1e-9, abs=1e-9)
    else:
        assert one == other


def test_recording_is_kept_and_measures_as_the_command_does(
    listening: Callable[..., Listener], job: str, api: httpx.Client, tmp_path: Path
) -> None:
    """Two seconds are stored under a name with markup in it; for the downloaded file `gainwright measure` gives the same figures."""
    hostile = "<img src=x onerror=alert(1)> at the amp"
    heard = listening(clipped(peak=0.9, ceiling=0.7), f"/jobs/{job}/live").start()
    heard.page.get_by_label("Name").fill(hostile)
    heard.page.get_by_label("Seconds", exact=True).fill("2")
    click(heard.page.get_by_role("button", name="Record", exact=True))
    heard.page.locator("#recordings .main").wait_for()
    assert heard.text("#recordings .main") == hostile
    assert heard.page.locator("#recordings img").count() == 0
    assert "clipped" in heard.text("#recordings .rows")
    with heard.page.expect_download() as download:
        heard.page.locator("#recordings").get_by_role("link", name="Download").click()
    path = tmp_path / download.value.suggested_filename
    assert path.suffix == ".wav"
    download.value.save_as(path)
    samples, rate_hz = soundfile.read(path)
    assert (len(samples), rate_hz) == (2 * RATE_HZ, RATE_HZ)
    (kept,) = api.get(f"/api/jobs/{job}/recordings").json()
    full_scale_v = kept["measured"]["calibrate_v"]
    known = () if full_scale_v is None else ("--calibrate", repr(full_scale_v))
    command = (sys.executable, "-m", "gainwright", "measure", str(path), "--json", *known)
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert_same_figures(kept["measured"]["channels"], json.loads(done.stdout)["channels"])
    assert kept["measured"]["about"]["gaps"] == 0


def test_recording_is_stopped_and_kept(listening: Callable[..., Listener], job: str, api: httpx.Client) -> None:
    """Two minutes were chosen; what was recorded until the button was pressed again is stored, and another can be started."""
    heard = listening(tone(), f"/jobs/{job}/live").start()
    heard.page.get_by_label("Seconds", exact=True).fill("120")
    click(heard.page.get_by_role("button", name="Record", exact=True))
    heard.page.get_by_role("button", name="Stop and save").wait_for()
    heard.fresh()
    heard.page.get_by_label("Seconds", exact=True).fill("")  # by then it doesn't matter
    heard.page.get_by_role("button", name="Stop and save").dblclick()
    heard.page.locator("#recordings .main").wait_for()
    heard.page.get_by_role("button", name="Record", exact=True).wait_for()
    heard.fresh()
    assert heard.last["recording"] is None
    (kept,) = api.get(f"/api/jobs/{job}/recordings").json()
    assert 0.5 < kept["measured"]["channels"][0]["seconds"] < 100
    # it is this tone; a busy machine's browser may lose a block in a recording of about a second, which bends the phase
    assert kept["measured"]["channels"][0]["frequency_hz"] == pytest.approx(TONE_HZ, abs=1.0)


def test_lost_samples_are_counted_and_reset(listening: Callable[..., Listener], job: str) -> None:
    """A browser that loses every two hundredth block: reported, counted, reset on restart."""
    heard = listening(tone(), f"/jobs/{job}/live", script=LOSES).start()
    heard.until(lambda: "Samples were lost" in heard.text("#gaps"))
    assert heard.last["reading"]["gaps"] >= 1
    click(heard.page.get_by_role("button", name="Reset"))
    heard.until(lambda: heard.last["reading"]["gaps"] == 0)
    heard.until(lambda: heard.text("#gaps") == "No samples lost.")


def test_held_figures_stay(listening: Callable[..., Listener], job: str) -> None:
    """A tone whose level changes every second: on hold, the figure stays while updates continue; released, it changes again."""
    steps = np.concatenate([tone(level_dbfs=level, seconds=1.0) for level in (-6.0, -20.0) * 15])
    heard = listening(steps, f"/jobs/{job}/live").start()
    hold = heard.page.get_by_role("button", name="Hold")
    hold.focus()
    heard.page.keyboard.press("Space")
    shown = heard.text("#level")
    for _ in range(3):
        heard.fresh()
        assert heard.text("#level") == shown
    assert heard.page.locator("#hold").get_attribute("aria-pressed") == "true"
    click(heard.page.get_by_role("button", name="resume"))
    heard.until(lambda: heard.text("#level") != shown)


def test_measurement_resumes_after_the_server_was_away(
    listening: Callable[..., Listener], server: WebServer, job: str
) -> None:
    """The server is killed in the middle: reported; when it is back the measurement continues automatically."""
    heard = listening(tone(), f"/jobs/{job}/live").start()
    server.kill()
    heard.page.get_by_text("The server can't be reached. The measurement restarts").wait_for()
    assert heard.text("#verdict") == "waiting for the server"
    heard.updates.clear()
    server.start()
    heard.until(lambda: len(heard.updates) >= 12)
    heard.until(lambda: heard.text("#verdict") == "clean")
    assert heard.page.locator("#problem").is_hidden()
    assert heard.channel["frequency_hz"] == pytest.approx(TONE_HZ, abs=0.01)


def test_address_that_is_not_secure_says_why(listening: Callable[..., Listener], job: str) -> None:
    """Without access to a microphone: why, what to do, and recordings can still be uploaded."""
    heard = listening(tone(seconds=1), f"/jobs/{job}/live", script=INSECURE)
    assert "gainwright serve --lan" in heard.text("#insecure")
    assert heard.page.locator("#live").is_hidden()
    assert heard.page.get_by_label("Upload a recording").is_visible()


def test_without_a_job_nothing_is_kept(listening: Callable[..., Listener]) -> None:
    """It measures all the same, and says where recordings can be stored."""
    heard = listening(tone(), "/live").start()
    assert heard.channel["frequency_hz"] == pytest.approx(TONE_HZ, abs=0.01)
    assert heard.page.get_by_role("button", name="Record", exact=True).count() == 0
    assert "Recordings are stored with a job" in heard.page.locator("main").inner_text()


def test_page_is_accessible(
    listening: Callable[..., Listener],
    each_size: Callable[[Page], Iterator[str]],
    both_sizes: Callable[..., None],
    look: Callable[..., None],
    day_and_night: Callable[..., None],
    job: str,
) -> None:
    """Two channels, in light and dark mode, before and while it runs, with screenshots."""
    both = np.concatenate([clipped(peak=0.9, ceiling=0.7), tone(level_dbfs=-12.0)], axis=1)
    heard = listening(both, f"/jobs/{job}/live", size="phone")
    both_sizes(heard.page, "live-idle")
    heard.page.get_by_label("Channels").select_option("2")
    heard.start()
    heard.page.get_by_label("Seconds", exact=True).fill("1")
    click(heard.page.get_by_role("button", name="Record", exact=True))
    heard.page.locator("#recordings .main").first.wait_for()
    heard.page.get_by_text("is saved with the job").wait_for(state="hidden")
    day_and_night(heard.page, "live")
    for size in each_size(heard.page):
        look(heard.page, f"live-{size}-first", full=False)


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "plain"])
def test_recording_is_uploaded_marked_removed_and_restored(
    open_page: Callable[..., Page], job: str, *, scripts: bool
) -> None:
    """An uploaded file: its verdict, the handover, removed and restored by undo; all without scripts, too."""
    name = "<b>tone<b>.flac"
    content = io.BytesIO()
    soundfile.write(content, tone(seconds=2), RATE_HZ, format="FLAC", subtype="PCM_24")
    page = open_page(f"/jobs/{job}/live", scripts=scripts)
    if not scripts:
        assert "needs JavaScript" in page.locator("main").inner_text()
    page.get_by_label("Upload a recording").set_input_files(
        {"name": name, "mimeType": "audio/flac", "buffer": content.getvalue()}
    )
    click(page.get_by_role("button", name="Upload", exact=True))
    kept = page.locator("#recordings")
    kept.locator(".main").wait_for()
    assert kept.locator(".main").inner_text() == name
    assert "997.00 Hz" in kept.inner_text()
    assert "clean" in kept.locator(".state").inner_text()
    click(kept.get_by_role("button", name="Add to handover"))
    kept.get_by_text("on the handover").wait_for()
    click(kept.get_by_role("button", name="Remove"))
    kept.get_by_text("was removed").wait_for()
    assert kept.locator(".main").count() == 0
    click(kept.get_by_role("button", name="Undo"))
    click(kept.get_by_role("button", name="Leave out of handover"))
    kept.get_by_role("button", name="Add to handover").wait_for()


def test_invalid_recording_is_reported_on_the_page(open_page: Callable[..., Page], job: str, tmp_path: Path) -> None:
    """One sentence, and nothing is stored."""
    path = tmp_path / "tone.wav"
    path.write_bytes(b"this is text")
    page = open_page(f"/jobs/{job}/live")
    page.get_by_label("Upload a recording").set_input_files(path)
    click(page.get_by_role("button", name="Upload", exact=True))
    assert "is not a sound file" in page.get_by_role("alert").first.inner_text()
    assert "No recordings yet" in page.locator("#recordings").inner_text()


def test_fourier_integral_agrees_with_a_spectrum() -> None:
    """The reference of these tests against numpy's FFT of one finely sampled period."""
    count = 1 << 16
    wave = np.clip(0.9 * np.sin(2 * np.pi * np.arange(count) / count), -0.7, 0.7)
    lines = 2 * np.abs(np.fft.rfft(wave)) / count
    assert harmonics_of_cut(peak=0.9, ceiling=0.7, count=20) == pytest.approx(list(lines[1:21:2]), abs=1e-7)
