from __future__ import annotations

from pathlib import Path

import pytest

from telltick.model.errors import BadInputError
from telltick.model.plan import AudioPlan, PollPlan, StationProfile
from telltick.store import stations
from telltick.store.station import load_station

PROFILE = StationProfile(
    name="Larkfell hut",
    audio=AudioPlan(device='odd "name" \\ of an input', channel=2),
    poll=PollPlan(port="/dev/ttyUSB0", frame_text="XX;", baud=19200, reply_terminator="3b"),
    setup={"antenna": "beam", "rf gain": "full"},
)


def test_a_profile_that_is_kept_reads_back_as_it_was(tmp_path):
    path = stations.save_station(PROFILE, tmp_path)
    assert path.name == "larkfell-hut.toml"
    assert load_station(path) == PROFILE
    assert stations.station_files(tmp_path) == {"larkfell-hut": path}


def test_a_profile_of_audio_alone_reads_back_too(tmp_path):
    plain = StationProfile(name="ears only")
    assert load_station(stations.save_station(plain, tmp_path)) == plain


def test_saving_again_replaces_the_profile_and_leaves_nothing_else(tmp_path):
    stations.save_station(PROFILE, tmp_path)
    stations.save_station(StationProfile(name="Larkfell hut"), tmp_path)
    assert load_station(tmp_path / "larkfell-hut.toml").poll is None
    assert len(list(tmp_path.iterdir())) == 1


def test_a_station_is_found_by_file_or_by_the_name_it_is_kept_under(tmp_path, monkeypatch):
    monkeypatch.setattr(stations, "stations_folder", lambda: tmp_path)
    path = stations.save_station(PROFILE, tmp_path)
    assert stations.find_station(Path("larkfell-hut")) == path
    assert stations.find_station(path) == path
    with pytest.raises(BadInputError, match="kept are larkfell-hut"):
        stations.find_station(Path("larkfield"))


def test_a_place_that_cannot_be_written_is_said(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    with pytest.raises(BadInputError, match="cannot be kept"):
        stations.save_station(PROFILE, blocked)


def test_a_profile_that_cannot_be_used_does_not_hide_the_others(tmp_path):
    stations.save_station(PROFILE, tmp_path)
    (tmp_path / "broken.toml").write_text("name = ", encoding="utf-8")
    found = stations.load_stations(tmp_path)
    assert found["larkfell-hut"] == PROFILE
    assert "broken.toml, end of document" in str(found["broken"])
