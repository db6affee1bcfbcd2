from __future__ import annotations

import pytest

from telltick.engine.tryout import SoundInputs
from telltick.model.errors import BadInputError
from telltick.model.plan import AudioPlan, PollPlan, StationProfile
from telltick.sources.soundcard import InputInfo
from telltick.ui.setup.form import DEFAULT_INPUT, NO_PORT, Form, fields_for

SOUNDS = SoundInputs((InputInfo("line in", 2, 48_000, True), InputInfo("usb codec", 1, 48_000, False)))
PORTS = ("/dev/ttyS0", "/dev/ttyUSB0")


def form(profile: StationProfile | None = None, **values: str) -> Form:
    made = Form(fields_for(SOUNDS, PORTS), profile)
    for key, value in values.items():
        made.put(next(field for field in made.fields if field.key == key), value)
    return made


def field(made: Form, key: str):
    return next(one for one in made.fields if one.key == key)


def test_an_untouched_form_makes_a_profile_of_audio_alone():
    profile = form().profile
    assert profile.poll is None
    assert profile.audio == AudioPlan()


def test_a_filled_form_makes_the_profile_it_says():
    profile = form(
        name="Larkfell hut",
        input="usb codec",
        port="/dev/ttyUSB0",
        baud="19200",
        request="XX;",
        reply_end="3b",
    ).profile
    assert profile.audio.device == "usb codec"
    assert profile.poll == PollPlan(
        port="/dev/ttyUSB0", frame_text="XX;", baud=19200, reply_terminator="3b", interval_s=0.2
    )


def test_a_request_in_hex_is_taken_as_bytes():
    assert form(port=PORTS[0], request="hex: fe fe 01 03 fd").profile.poll.frame == bytes.fromhex(
        "fefe0103fd"
    )


def test_a_reply_without_a_known_end_ends_by_silence():
    assert form(port=PORTS[0], request="XX;").profile.poll.reply_silence_ms == 20


def test_left_and_right_step_through_what_is_offered_and_come_round():
    made = form()
    one = field(made, "port")
    seen = []
    for _ in range(4):
        seen.append(made.values["port"])
        made.step(one, 1)
    assert seen == [NO_PORT, *PORTS, NO_PORT]
    made.step(field(made, "input"), -1)
    assert made.values["input"] == "usb codec"


def test_a_profile_goes_through_the_form_unharmed():
    profile = StationProfile(
        name="hut",
        audio=AudioPlan(device="usb codec", rate_hz=44_100),
        poll=PollPlan(port="/dev/ttyS0", frame_hex="01 02", jitter_ms=3, reply_bytes=7, handshake="rtscts"),
        setup={"antenna": "beam", "window": "open"},
    )
    assert form(profile).profile == profile


def test_a_port_of_another_kind_can_be_typed_but_an_input_cannot():
    assert form(port="rfc2217://127.0.0.1:4001", request="X").profile.poll.port.startswith("rfc2217")
    with pytest.raises(BadInputError, match="choose with left and right"):
        form(input="anything")


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"name": " "}, "station: give it a name"),
        ({"port": PORTS[0]}, "request: write the query"),
        ({"port": PORTS[0], "request": "hex: zz"}, "frame_hex"),
        ({"port": PORTS[0], "request": "X", "baud": "fast"}, "baud: must be a whole number"),
        ({"port": PORTS[0], "request": "X", "framing": "9Z9"}, "framing"),
        ({"port": PORTS[0], "request": "X", "interval": "0"}, "interval_s: must be 0.01 to 3600"),
        ({"channel": "99"}, "channel"),
    ],
)
def test_what_cannot_be_is_said_with_its_line(values, said):
    with pytest.raises(BadInputError, match=said):
        _ = form(**values).profile


def test_a_machine_without_inputs_still_offers_the_default_one():
    made = Form(fields_for(SoundInputs((), "none"), ()))
    assert field(made, "input").offers == (DEFAULT_INPUT,)
