"""becket's exact partials of wound strings, as a client gets them, against finite elements that share no formula with it."""

import math

import pytest

import fem
from becket.stringing.v1 import scale_pb2, string_set_pb2, wire_pb2
from shop import Shop, message, read

MODELS = ["concert-270", "small-160"]
HEX = "hex-of-the-test"
NARROW = "copper-of-the-test"


@pytest.fixture(scope="module")
def shop(server):
    shop = Shop(server.channel())
    shop.load_wires()
    shop.load_scales()
    return shop


def catalogue(shop):
    found, token = {}, ""
    while True:
        page = shop.wires.ListWires(wire_pb2.ListWiresRequest(page_token=token))
        found.update({wire.wire_id: wire for wire in page.wires})
        token = page.next_page_token
        if not token:
            return found


def scale_of(model):
    return message(scale_pb2.Scale, read(f"scales/{model}.toml"))


def hexagonal(like):
    """A core of hexagonal steel, as wide across flats as `like` is thick."""
    wire = wire_pb2.Wire()
    wire.CopyFrom(like)
    wire.wire_id, wire.material, wire.etag = HEX, wire_pb2.MATERIAL_STEEL_HEXAGONAL, ""
    wire.ClearField("size")
    return wire


def as_given(scale, wires):
    return [], {}


def with_hexagonal_cores(scale, wires):
    core = next(wires[note.wire_id] for note in scale.notes if note.windings)
    wire = hexagonal(core)
    for note in scale.notes:
        if note.windings:
            note.wire_id = HEX
    return [wire], {HEX: wire}


def with_a_thin_layer_below(scale, wires):
    """Under each winding a thin one that reaches further at both ends, past the bridge in every other note."""
    wire = wire_pb2.Wire(
        wire_id=NARROW, material=wire_pb2.MATERIAL_COPPER, diameter_mm=0.3, density_kg_m3=8930, youngs_modulus_gpa=120
    )
    for note in scale.notes:
        if len(note.windings) == 1:
            outer = note.windings[0]
            inner = scale_pb2.Winding(
                wire_id=NARROW,
                bare_front_mm=outer.bare_front_mm / 2,
                bare_back_mm=-30 if note.note % 2 else outer.bare_back_mm / 2,
            )
            outer.bare_back_mm = max(outer.bare_back_mm, inner.bare_back_mm)
            layers = [inner, scale_pb2.Winding()]
            layers[1].CopyFrom(outer)
            del note.windings[:]
            note.windings.extend(layers)
    return [wire], {NARROW: wire}


def with_long_bare_ends(scale, wires):
    for note in scale.notes:
        for winding in note.windings:
            winding.bare_front_mm += 0.05 * note.speaking_mm
            winding.bare_back_mm += 0.02 * note.speaking_mm
    return [], {}


def area_and_moment(wire):
    """Area in m² and second moment in m⁴: circle, or hexagon by its width across flats."""
    d = wire.diameter_mm / 1000
    if wire.material == wire_pb2.MATERIAL_STEEL_HEXAGONAL:
        return math.sqrt(3) / 2 * d**2, 5 * math.sqrt(3) / 144 * d**4
    return math.pi / 4 * d**2, math.pi / 64 * d**4


def girth_diameter(wire):
    d = wire.diameter_mm / 1000
    return 6 * d / math.sqrt(3) / math.pi if wire.material == wire_pb2.MATERIAL_STEEL_HEXAGONAL else d


def segments(note, wires, helix):
    """[(length in m, density in kg/m)]: core everywhere, a layer where it lies."""
    core = wires[note.wire_id]
    area, _ = area_and_moment(core)
    under, layers = girth_diameter(core), []
    length = note.speaking_mm / 1000
    for winding in note.windings:
        wire = wires[winding.wire_id]
        w = wire.diameter_mm / 1000
        turn = math.pi * (under + w)
        along = math.hypot(turn, w) if helix else turn
        mass = wire.density_kg_m3 * math.pi / 4 * w**2 * along / w
        layers.append((winding.bare_front_mm / 1000, min(length, length - winding.bare_back_mm / 1000), mass))
        under += 2 * w
    cuts = sorted({0.0, length, *(end for layer in layers for end in layer[:2])})
    return [
        (
            high - low,
            area * core.density_kg_m3 + sum(mass for start, end, mass in layers if start <= low and high <= end),
        )
        for low, high in zip(cuts, cuts[1:])
    ]


def cents(a, b):
    return 1200 * math.log2(a / b)


@pytest.mark.parametrize("helix", [False, True], ids=["tube", "helix"])
@pytest.mark.parametrize("change", [as_given, with_hexagonal_cores, with_a_thin_layer_below, with_long_bare_ends])
@pytest.mark.parametrize("model", MODELS)
def test_partials_agree_with_finite_elements(shop, model, change, helix):
    """The first 16 partials within 0.01 cent, and the first one at the pitch."""
    scale = scale_of(model)
    wires = catalogue(shop)
    given, more = change(scale, wires)
    wires.update(more)
    wound = [note for note in scale.notes if note.windings]
    # From the lowest to the break, and the last one of all; every case meets other notes.
    chosen = wound[:: 5 if helix else 4] + wound[-1:]
    options = string_set_pb2.ComputeOptions(
        pitch_basis=string_set_pb2.PITCH_BASIS_FIRST_PARTIAL,
        winding_model=string_set_pb2.WINDING_MODEL_HELIX if helix else string_set_pb2.WINDING_MODEL_TUBE,
    )
    answer = shop.sets.ComputePartials(
        string_set_pb2.ComputePartialsRequest(
            scale=scale, wires=given, options=options, notes=sorted({note.note for note in chosen})
        )
    )
    assert answer.options.string_model == string_set_pb2.STRING_MODEL_STEPPED
    notes = {note.note: note for note in scale.notes}
    worst = 0.0
    for found in answer.notes:
        note = notes[found.note]
        core = wires[note.wire_id]
        _, moment = area_and_moment(core)
        expected = fem.partials_hz(found.tension_n, core.youngs_modulus_gpa * 1e9 * moment, segments(note, wires, helix), 16)
        assert len(found.partials.partial_hz) == 16
        worst = max(worst, *(abs(cents(a, b)) for a, b in zip(found.partials.partial_hz, expected)))
        assert abs(cents(expected[0], found.frequency_hz)) < 0.01, note.note
    assert worst < 0.01, f"{worst} cents"
    assert len(answer.notes) >= 4


@pytest.mark.parametrize("model", MODELS)
def test_a_set_by_the_stepped_model_is_in_tune_without_stiffness(shop, model):
    """On the stiffness-free basis the limp string sounds the pitch: finite elements with next to no stiffness."""
    answer = shop.sets.ComputeStringSet(
        string_set_pb2.ComputeStringSetRequest(
            stored=string_set_pb2.ScaleReference(model_id=model, revision_id="a"),
            options=string_set_pb2.ComputeOptions(
                string_model=string_set_pb2.STRING_MODEL_STEPPED, include_partials=True
            ),
        )
    ).string_set
    wires = {wire.wire_id: wire for wire in answer.basis.wires}
    notes = {note.note: note for note in answer.basis.scale.notes}
    checked = 0
    for string in answer.strings:
        if string.string_number > 1 or not string.windings or string.note % 5:
            continue
        note = notes[string.note]
        length = string.speaking_mm / 1000
        # A stiffness with B of 1e-9 raises the first partial by less than a millionth of a cent.
        limp = 1e-9 * string.tension_n * length**2 / math.pi**2
        expected = fem.partials_hz(string.tension_n, limp, segments(note, wires, False), 4)
        assert abs(cents(expected[0], string.frequency_hz)) < 0.001
        assert string.partials.stiffness_free_hz == pytest.approx(string.frequency_hz, rel=1e-12)
        assert string.inharmonicity == string.partials.fitted_inharmonicity
        checked += 1
    assert checked >= 3


@pytest.mark.parametrize("model", MODELS)
def test_the_fit_is_the_least_squares_of_cents(shop, model):
    """numpy's least squares, linearised about the fit that is told, finds nothing to improve."""
    import numpy

    answer = shop.sets.ComputePartials(
        string_set_pb2.ComputePartialsRequest(
            stored=string_set_pb2.ScaleReference(model_id=model, revision_id="a"), notes=[1, 8, 15]
        )
    )
    for found in answer.notes:
        partials = found.partials
        n = numpy.arange(1, 17)
        b = partials.fitted_inharmonicity
        fitted = n * partials.fitted_stiffness_free_hz * numpy.sqrt(1 + b * n**2)
        rest = 1200 * numpy.log2(numpy.array(partials.partial_hz) / fitted)
        slopes = 1200 / math.log(2) * numpy.stack([numpy.ones(16), 0.5 * n**2 / (1 + b * n**2)], axis=1)
        (in_pitch, in_b), *_ = numpy.linalg.lstsq(slopes, rest, rcond=None)
        assert abs(in_pitch) < 1e-9 and abs(in_b) < 1e-8 * b
        assert partials.fit_residual_cents == pytest.approx(math.sqrt((rest**2).mean()), rel=1e-6)
        assert partials.fit_residual_max_cents == pytest.approx(abs(rest).max(), rel=1e-6)
