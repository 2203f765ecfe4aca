"""Profile files: what is refused, with its line and the way out; the shipped ones, each on its sample."""

import pytest

from collector.bridge.bridge_file import BridgeFileError
from collector.bridge.profile import find_profile, load_profile, parse_profile, shipped_profiles
from collector.bridge.sample import try_sample
from collector.reading import EARLIEST_MS

GOOD = 'kind = "delimited"\n[field.purity_pct]\nfrom = 1\nin = "%"\n'


def refused(text):
    with pytest.raises(BridgeFileError) as error:
        parse_profile(text)
    return str(error.value)


@pytest.mark.parametrize("name", sorted(shipped_profiles()))
def test_a_shipped_profile_reads_its_sample(name):
    path = shipped_profiles()[name]
    result = try_sample(load_profile(path), path.with_suffix(".txt").read_bytes(), EARLIEST_MS)
    assert result.good, [row.refused for row in result.rows]
    assert result.dropped_bytes == 0
    assert len(result.rows) >= 3


def test_every_kind_is_shipped():
    kinds = {load_profile(path).kind for path in shipped_profiles().values()}
    assert kinds == {"delimited", "key-value", "json", "regex", "fixed-width", "modbus"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD + "colour = 1\n", "profile.toml:5: unknown key 'colour'; known here: from"),
        ("delimeter = ';'\n" + GOOD, "profile.toml:1: unknown key 'delimeter'; did you mean 'delimiter'?"),
        (GOOD.replace("purity_pct", "purity"), "profile.toml:2: unknown key 'purity'; did you mean 'purity_pct'?"),
        (GOOD + "[framing]\nending = 'x'\n", "profile.toml:6: unknown key 'ending'; did you mean 'end'?"),
        (GOOD.replace('in = "%"', ""), "profile.toml:2: say in which unit it stands: in = one of %, ratio"),
        (GOOD.replace('"%"', '"percent"'), "profile.toml:4: no unit 'percent' for purity_pct"),
        (GOOD.replace("from = 1", 'from = "o2"'), "profile.toml:3: from = the column's number"),
        (GOOD.replace("from = 1", "from = 0"), "profile.toml:3: from = the column's number"),
        ("equals = ':'\n" + GOOD, "profile.toml:1: 'equals' is for the kind key-value, and this is 'delimited'"),
        ('kind = "delimited"\n[field.time]\nfrom = 1\n', "profile.toml:1: nothing measured is read"),
        (GOOD.replace("delimited", "csv"), "profile.toml:1: kind: Input should be 'delimited'"),
        ("kind = ", "not valid TOML"),
        (GOOD + "[framing]\nend = ''\nlength = 9\n", "nobody can tell where a frame begins"),
        (GOOD + '[checksum]\nkind = "xor"\nwritten = "binary"\n', "can look like the end mark"),
        (GOOD + "[framing]\ntail_bytes = 2\n", "must be the checksum"),
        (GOOD + "[poll]\nevery_s = 5\n", "profile.toml:5: what is the device asked?"),
        (GOOD + '[poll]\nrequest_hex = "0G"\n', "pairs of hex digits"),
        (GOOD + '[analyser]\nkind = "galvanic"\n', "say pressure_compensated = true or false"),
        (GOOD + '[analyser]\nkind = "zirconia"\nargon_corrected = true\n', "argon_corrected is for 'ultrasonic' only"),
        (GOOD + '[field.lamp]\nfrom = 2\nwords = { G = "verde" }\n', "'verde' is no lamp"),
        (GOOD + '[field.time]\nfrom = 2\nformat = "%H:%M"\n', "a pattern with date and time"),
        (GOOD + '[field.time]\nfrom = 2\nzone = "Mars/Base"\n', "no time zone 'Mars/Base'"),
    ],
)
def test_a_wrong_profile_is_refused_with_its_line(text, said):
    assert said in refused(text)


@pytest.mark.parametrize(
    ("pattern", "said"),
    [
        ("", "give a pattern with named groups"),
        ("(?P<purity_pct>", "not a usable pattern"),
        ("(?=x)(?P<purity_pct>.)", "no look-around"),
        ("(?P<o2>.)", "the pattern has no group (?P<purity_pct>...)"),
    ],
)
def test_a_wrong_pattern_is_refused(pattern, said):
    assert said in refused(f"kind = 'regex'\npattern = '{pattern}'\n[field.purity_pct]\nin = '%'\n")


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ("[framing]\nend = 'x'\n", "Modbus RTU has its own frames"),
        ("[poll]\nrequest = '?'\n", "made from the registers"),
        ("[field.time]\naddress = 3\n", "'time' is not read from registers"),
        ("[field.volts]\nin = 'V'\n", "say at which register"),
    ],
)
def test_a_wrong_modbus_profile_is_refused(extra, said):
    assert said in refused("kind = 'modbus'\n[field.purity_pct]\naddress = 0\nin = '%'\n" + extra)


def test_profiles_are_found_by_name_or_beside_the_bridge_file(tmp_path):
    assert find_profile("registers", tmp_path) == shipped_profiles()["registers"]
    assert find_profile("own.toml", tmp_path) == tmp_path / "own.toml"
    with pytest.raises(BridgeFileError, match="did you mean 'registers'"):
        find_profile("register", tmp_path)
    with pytest.raises(BridgeFileError, match="no such file"):
        load_profile(tmp_path / "own.toml")
