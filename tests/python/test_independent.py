"""becket's figures, as a client gets them, against packages that know nothing of it."""

import math

import fluids
import librosa
import pint
import pytest

from becket.stringing.v1 import scale_pb2, string_set_pb2, wire_pb2
from shop import Shop, request_id

UNITS = pint.UnitRegistry()


@pytest.fixture(scope="module")
def shop(server):
    shop = Shop(server.channel())
    shop.load_wires()
    shop.load_scales()
    shop.wires.ImportWires(
        wire_pb2.ImportWiresRequest(request_id=request_id(), standard_series=[wire_pb2.SIZE_SERIES_MILLIMETRE])
    )
    return shop


def wires(shop):
    found, token = {}, ""
    while True:
        page = shop.wires.ListWires(wire_pb2.ListWiresRequest(page_token=token))
        found.update({wire.wire_id: wire for wire in page.wires})
        token = page.next_page_token
        if not token:
            return found


def test_inch_series_is_the_music_wire_gauge(shop):
    """fluids cites Machinery's Handbook (2012) for the music wire gauge."""
    checked = 0
    for wire in wires(shop).values():
        if wire.size.series == wire_pb2.SIZE_SERIES_INCH and wire.size.number == int(wire.size.number):
            expected_mm = fluids.t_from_gauge(int(wire.size.number), schedule="MWG") * 1000
            assert wire.diameter_mm == pytest.approx(expected_mm, abs=1e-9), wire.wire_id
            checked += 1
    assert checked == 25, "numbers 6 to 30"


def test_the_two_series_differ_under_the_same_number(shop):
    """Millimetre series: 0.725 + 0.05 (g - 12) mm for 12 to 22 (a trade list of 2003)."""
    found = wires(shop)
    for half in range(24, 45):
        number = half / 2
        wire = found[f"mw-mm-{number:g}"]
        assert wire.diameter_mm == pytest.approx(0.725 + 0.05 * (number - 12), abs=1e-9)
        assert wire.diameter_mm != found[f"mw-in-{number:g}"].diameter_mm


def demo_set(shop, model, **options):
    return shop.sets.ComputeStringSet(
        string_set_pb2.ComputeStringSetRequest(
            stored=string_set_pb2.ScaleReference(model_id=model, revision_id="a"),
            options=string_set_pb2.ComputeOptions(**options),
        )
    ).string_set


@pytest.mark.parametrize("a4", [440.0, 442.0])
def test_pitch_is_equal_temperament(shop, a4):
    """librosa converts MIDI numbers at A4 = 440 Hz; note 1 is MIDI 21."""
    for string in demo_set(shop, "concert-270", a4_hz=a4).strings:
        expected = librosa.midi_to_hz(string.note + 20) * a4 / 440
        assert string.frequency_hz == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("model", ["concert-270", "small-160"])
def test_plain_strings_follow_mersenne_with_units(shop, model):
    """T = (2 L f)^2 mu and B = pi^3 E d^4 / (64 T L^2) (Fletcher 1964, from memory), with pint keeping the units."""
    catalogue = wires(shop)
    checked = 0
    for string in demo_set(shop, model).strings:
        if string.windings:
            continue
        wire = catalogue[string.wire_id]
        d = wire.diameter_mm * UNITS.mm
        length = string.speaking_mm * UNITS.mm
        mu = wire.density_kg_m3 * UNITS("kg/m^3") * math.pi * d**2 / 4
        tension = (2 * length * string.frequency_hz * UNITS.Hz) ** 2 * mu
        assert string.tension_n == pytest.approx(tension.to("N").magnitude, rel=1e-9)
        stress = tension / (math.pi * d**2 / 4)
        assert string.stress_mpa == pytest.approx(stress.to("MPa").magnitude, rel=1e-9)
        b = math.pi**3 * wire.youngs_modulus_gpa * UNITS.GPa * d**4 / (64 * tension * length**2)
        assert string.inharmonicity == pytest.approx(b.to("").magnitude, rel=1e-9)
        checked += 1
    assert checked > 180


def test_first_partial_basis_lowers_the_tension_by_the_stiffness(shop):
    """On the first partial, f1 = f0 sqrt(1 + B): the returned tension and B must reproduce the target."""
    for string in demo_set(shop, "concert-270", pitch_basis=string_set_pb2.PITCH_BASIS_FIRST_PARTIAL).strings:
        f0 = math.sqrt(string.tension_n / (string.linear_density_g_m / 1000)) / (2 * string.speaking_mm / 1000)
        assert f0 * math.sqrt(1 + string.inharmonicity) == pytest.approx(string.frequency_hz, rel=1e-9)


def test_the_concert_grand_is_plausible(shop):
    """Common practice, no source: 220 to 240 strings, up to about 45 000 lbf in all on a large grand, no string above
    about 425 lbf, 40 to 65 % of breaking load usual and 70 % the usual ceiling."""
    string_set = demo_set(shop, "concert-270")
    totals = string_set.totals
    lbf = UNITS("lbf").to("N").magnitude
    assert 220 <= totals.strings <= 245
    assert 35_000 * lbf <= totals.tension_n <= 47_000 * lbf
    assert totals.highest_tension.value <= 425 * lbf
    shares = [string.load_share for string in string_set.strings]
    assert max(shares) <= 0.70
    assert sum(0.40 <= share <= 0.65 for share in shares) >= 0.8 * len(shares)
    plain = [string.tension_n / lbf for string in string_set.strings if not string.windings]
    assert sum(130 <= tension <= 220 for tension in plain) >= 0.9 * len(plain)
    assert totals.pieces == totals.looped_pairs + totals.tied_singles + totals.wound_strings
    assert totals.strings == 2 * totals.looped_pairs + totals.tied_singles + totals.wound_strings
