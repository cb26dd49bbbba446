"""The page's beeps really sound: level, length and pattern, rendered by the browser itself.

A cue is rendered by the same function into an OfflineAudioContext (Web Audio API, W3C), and what
the running page sends to the loudspeaker is measured by an AnalyserNode.
"""

import itertools
import math

import pytest

from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.support.profiles import PROMPT, hold_profile

RATE_HZ = 44_100
WINDOW = 441  # samples: 10 ms
SILENT = 0.01
RENDER = """async ([cue, gain]) => {
    const sound = await import('/static/sound.js');
    const context = new OfflineAudioContext(1, 3 * 44100, 44100);
    const ends = sound.schedule(context, context.destination, cue, 0.1, gain ?? sound.USUAL_GAIN);
    const samples = (await context.startRendering()).getChannelData(0);
    return { ends, samples: Array.from(samples), tones: sound.CUES[cue], pause: sound.PAUSE_S };
}"""
# what leaves through `out` in the next two seconds, as the loudest sample
MEASURE = """async () => {
    const { context, out } = window.emberbed.sound;
    const analyser = new AnalyserNode(context, { fftSize: 2048 });
    out.connect(analyser);
    const samples = new Float32Array(2048);
    window.emberbed.sound.play('CUE');
    let loudest = 0;
    const until = performance.now() + 2000;
    while (performance.now() < until) {
        analyser.getFloatTimeDomainData(samples);
        loudest = Math.max(loudest, ...samples.map(Math.abs));
        await new Promise((next) => setTimeout(next, 20));
    }
    out.disconnect(analyser);
    return loudest;
}"""
WATCHED = """() => {
    const { sound } = window.emberbed;
    const play = sound.play.bind(sound);
    window.cues = [];
    sound.play = (cue, gain) => { window.cues.push(cue); play(cue, gain); };
}"""


@pytest.fixture(scope="module")
def tab(tmp_path_factory, browser):
    folder = tmp_path_factory.mktemp("page")
    profile = folder / "asks.toml"
    profile.write_text(hold_profile(for_s=60, prompt=PROMPT))
    with PageCommand(folder / "runs.sqlite", profile, "--speed", "10") as command:
        tab = open_tab(browser, command.url)
        tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
        yield tab
        tab.page.close()


def loudness(samples):
    """Return the root mean square of each 10 ms."""
    return [
        math.sqrt(sum(one * one for one in samples[at : at + WINDOW]) / WINDOW)
        for at in range(0, len(samples) - WINDOW, WINDOW)
    ]


def bursts(samples):
    """Return (seconds, loudness, hertz by zero crossings) of every tone that can be heard."""
    found, at = [], 0
    for heard, group in itertools.groupby(loudness(samples), lambda level: level > SILENT):
        levels = list(group)
        first, at = at, at + len(levels)
        if heard:
            part = samples[first * WINDOW : at * WINDOW]
            crossings = sum(a < 0 <= b for a, b in itertools.pairwise(part))
            found.append((len(levels) / 100, max(levels), crossings / (len(part) / RATE_HZ)))
    return found


@pytest.mark.parametrize("cue", ["stage", "soon", "ask", "urgent", "end", "trip"])
def test_a_cue_sounds_as_loud_as_long_and_as_high_as_it_should(tab, cue):
    made = tab.page.evaluate(RENDER, [cue, None])
    heard = bursts(made["samples"])
    assert len(heard) == len(made["tones"]), "a pause is heard between any two"
    for (seconds, level, hertz), (wanted_hertz, wanted_s) in zip(heard, made["tones"], strict=True):
        assert seconds == pytest.approx(wanted_s, abs=0.021)
        assert hertz == pytest.approx(wanted_hertz, rel=0.12)
        # a triangle wave's root mean square is its peak / sqrt(3)
        assert level == pytest.approx(0.35 / math.sqrt(3), rel=0.15)
    assert max(map(abs, made["samples"])) <= 1, "not clipped"
    assert made["ends"] == pytest.approx(
        0.1 + sum(s for _, s in made["tones"]) + made["pause"] * (len(heard) - 1)
    )


def test_no_two_cues_can_be_taken_for_each_other(tab):
    """By how many tones there are and which way they go: no ear for single pitches is needed."""
    patterns = {}
    for cue in ("stage", "soon", "ask", "urgent", "end", "trip"):
        tones = tab.page.evaluate(RENDER, [cue, None])["tones"]
        steps = tuple((b[0] > a[0]) - (b[0] < a[0]) for a, b in itertools.pairwise(tones))
        patterns[cue] = (len(tones), steps)
    assert len(set(patterns.values())) == len(patterns)


def test_a_question_that_waits_long_is_louder(tab):
    usual, loud = (
        max(loudness(tab.page.evaluate(RENDER, ["ask", gain])["samples"])) for gain in (None, 0.9)
    )
    assert 20 * math.log10(loud / usual) > 6


def test_the_page_sounds_after_a_touch_and_a_muted_one_for_trips_only(tab):
    tab.load()
    tab.page.evaluate(WATCHED)
    tab.button("Sound is off").click()
    tab.until("sound.context.state === 'running'")
    assert tab.page.evaluate(MEASURE.replace("CUE", "soon")) > 0.2
    tab.button("Sound is on").click()
    assert tab.page.evaluate(MEASURE.replace("CUE", "soon")) < SILENT
    assert tab.page.evaluate(MEASURE.replace("CUE", "trip")) > 0.2
    tab.button("Muted").click()


def test_half_a_minute_before_the_question_another_pattern_sounds(tab):
    tab.page.evaluate("() => { window.cues.length = 0; }")
    tab.press()
    tab.until("moment.facts?.next.call?.needed === false")
    assert tab.moment("facts.next.person_in_s") <= 30
    tab.until("moment.facts?.ask !== null")
    tab.page.wait_for_timeout(300)
    cues = tab.page.evaluate("window.cues")
    assert [cue for cue in cues if cue != "stage"][:2] == ["soon", "ask"]
    assert "stage" in cues, "and one tone where a stage begins"
