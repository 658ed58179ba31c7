//! What a change, a tuning, a tolerance or a measured instrument does to a set, over the socket.

use becket_api::document::{parse_list, parse_toml};
use becket_api::stringing::set_source::Source;
use becket_api::stringing::{
    AsBuilt, CompareSetsRequest, CompareSetsResponse, ComputeBandsRequest, ComputeBandsResponse,
    ComputeOptions, ComputeStretchRequest, ComputeStretchResponse, DifferenceTolerances,
    FreezeStringSetRequest, ImportWiresRequest, Job, ListSpecialStringsRequest, ListSpecialStringsResponse,
    NoteChange, OctaveRegion, OctaveRule, PitchBasis, Presence, Scale, ScaleReference, SetSource, SizeSeries,
    StringModel, ToleranceSource, Tolerances, WindingModel, Wire, WireChange,
};
use tonic::{Code, Status};

use crate::world::{World, assert_faults, assert_refused, copper, job, scale};

async fn compare(world: &World, request: CompareSetsRequest) -> Result<CompareSetsResponse, Status> {
    Ok(world.designs().compare_sets(request).await?.into_inner())
}

async fn stretch(world: &World, request: ComputeStretchRequest) -> Result<ComputeStretchResponse, Status> {
    Ok(world.designs().compute_stretch(request).await?.into_inner())
}

async fn bands(world: &World, request: ComputeBandsRequest) -> Result<ComputeBandsResponse, Status> {
    Ok(world.designs().compute_bands(request).await?.into_inner())
}

async fn special(
    world: &World,
    request: ListSpecialStringsRequest,
) -> Result<ListSpecialStringsResponse, Status> {
    Ok(world.designs().list_special_strings(request).await?.into_inner())
}

fn source(source: Source) -> Option<SetSource> {
    Some(SetSource { source: Some(source), ..SetSource::default() })
}

fn given(scale: Scale) -> Option<SetSource> {
    source(Source::Scale(scale))
}

fn serial(serial_id: &str) -> Option<SetSource> {
    source(Source::SerialId(serial_id.to_owned()))
}

fn reference() -> ScaleReference {
    ScaleReference { model_id: "grand".to_owned(), revision_id: "a".to_owned() }
}

fn stored() -> Option<SetSource> {
    source(Source::Stored(reference()))
}

fn at(source: Option<SetSource>, options: ComputeOptions) -> Option<SetSource> {
    source.map(|source| SetSource { options: Some(options), ..source })
}

fn of(old: Option<SetSource>, new: Option<SetSource>) -> CompareSetsRequest {
    CompareSetsRequest { old, new, tolerances: None }
}

#[tokio::test]
async fn only_what_changed_is_in_the_table() {
    let world = World::with_scale().await;
    let same = compare(&world, of(stored(), given(scale("grand", "a")))).await.unwrap();
    assert_eq!((same.rows.len(), same.unchanged_strings), (0, 236));

    let mut longer = scale("grand", "a");
    longer.notes[51].speaking_mm += 2.0;
    let table = compare(&world, of(stored(), given(longer))).await.unwrap();
    let ids: Vec<_> = table.rows.iter().map(|row| row.string_id.as_str()).collect();
    assert_eq!(ids, ["52.1", "52.2", "52.3"]);
    let row = &table.rows[0];
    let length_mm = row.speaking_mm.unwrap();
    assert!((length_mm.new.unwrap() - length_mm.old.unwrap() - 2.0).abs() < 1e-9);
    // Mersenne: T goes as L².
    let tension_n = row.tension_n.unwrap();
    let ratio = (length_mm.new.unwrap() / length_mm.old.unwrap()).powi(2);
    assert!((tension_n.new.unwrap() / tension_n.old.unwrap() / ratio - 1.0).abs() < 1e-12);
    assert!(
        row.wire.is_none() && row.windings.is_none() && row.frequency_hz.is_none() && row.piece.is_none()
    );
    assert_eq!((row.presence(), table.old_pieces, table.new_pieces), (Presence::Both, 134, 134));
    let total_n = table.total_tension_n.unwrap();
    let change_n = 3.0 * (tension_n.new.unwrap() - tension_n.old.unwrap());
    assert!((total_n.new.unwrap() - total_n.old.unwrap() - change_n).abs() < 1e-6);
}

#[tokio::test]
async fn pitch_wire_and_serial_may_be_what_changes() {
    let world = World::with_scale().await;
    let sharp = ComputeOptions { a4_hz: Some(442.0), ..ComputeOptions::default() };
    let table = compare(&world, of(stored(), at(stored(), sharp))).await.unwrap();
    assert_eq!((table.rows.len(), table.unchanged_strings), (236, 0));
    assert!(table.rows.iter().all(|row| row.frequency_hz.is_some() && row.wire.is_none()));

    // Another copper concerns the wound strings alone.
    let heavier = stored().map(|source| SetSource { wires: vec![copper("cu-1.00", 1.1)], ..source });
    let table = compare(&world, of(stored(), heavier)).await.unwrap();
    assert_eq!((table.rows.len(), table.unchanged_strings), (32, 204));
    // A serial's own pitch and measurements, also once it is frozen.
    let as_built = vec![AsBuilt { note: 88, speaking_mm: Some(51.0), ..AsBuilt::default() }];
    world.open(Job { as_built, options: Some(sharp), ..job("S-1") }).await;
    let table = compare(&world, of(at(stored(), sharp), serial("S-1"))).await.unwrap();
    assert_eq!(table.rows.iter().map(|row| row.note).collect::<Vec<_>>(), [88, 88, 88]);
    let digest = world.set("S-1").await.digest;
    let serial_id = "S-1".to_owned();
    let request = FreezeStringSetRequest { request_id: world.id(), serial_id, digest };
    world.sets().freeze_string_set(request).await.unwrap();
    assert_eq!(compare(&world, of(at(stored(), sharp), serial("S-1"))).await.unwrap(), table);
    let fewer = {
        let mut fewer = scale("grand", "a");
        fewer.notes[29].string_count = 2;
        fewer
    };
    let table = compare(&world, of(stored(), given(fewer))).await.unwrap();
    // The string that is gone, and its neighbours, which share other pieces now.
    let gone = table.rows.iter().find(|row| row.string_id == "30.3").unwrap();
    assert_eq!(gone.presence(), Presence::OldOnly);
    assert_eq!(table.rows[0].piece.as_ref().unwrap().old.as_ref().unwrap().piece_id, "30.2+30.3");
}

#[tokio::test]
async fn what_if_a_length_a_pitch_a_wire_or_a_series_were_another() {
    let world = World::with_scale().await;
    let note = |note| NoteChange { note, ..NoteChange::default() };
    let wire = |old: &str, new: &str| WireChange { old: old.to_owned(), new: new.to_owned() };
    let what_if = |source: Option<SetSource>, note_changes: &[NoteChange], wire_changes: &[WireChange]| {
        source.map(|source| SetSource {
            note_changes: note_changes.to_vec(),
            wire_changes: wire_changes.to_vec(),
            ..source
        })
    };
    let length_mm = scale("grand", "a").notes[51].speaking_mm;
    let notes = [
        NoteChange { speaking_mm: Some(1.01 * length_mm), ..note(52) },
        NoteChange { pitch_offset_cents: Some(12.0), ..note(88) },
        NoteChange { wire_id: Some("mw-in-18".to_owned()), ..note(30) },
    ];
    let table = compare(&world, of(stored(), what_if(stored(), &notes, &[]))).await.unwrap();
    let ratio = |string_id: &str| {
        let row = table.rows.iter().find(|row| row.string_id == string_id).unwrap();
        let tension_n = row.tension_n.unwrap();
        tension_n.new.unwrap() / tension_n.old.unwrap()
    };
    // T ∝ L²·f²·d² (Mersenne): 1 % of length, 12 cents, No. 19 (.043 in) to No. 18 (.041 in).
    assert!((ratio("52.1") - 1.0201).abs() < 1e-9, "{}", ratio("52.1"));
    assert!((ratio("88.1") - (24.0_f64 / 1200.0).exp2()).abs() < 1e-9);
    assert!((ratio("30.1") - (0.041_f64 / 0.043).powi(2)).abs() < 1e-9);

    let series = [wire("mw-in-*", "mw-mm-*")];
    assert_faults(
        compare(&world, of(stored(), what_if(stored(), &[], &series))).await,
        // Each of the three sizes is missing.
        &["new.wire_changes[0].new"; 3],
    );
    let request = ImportWiresRequest {
        request_id: world.id(),
        standard_series: vec![SizeSeries::Millimetre.into()],
        ..ImportWiresRequest::default()
    };
    world.wires().import_wires(request).await.unwrap();
    let table = compare(&world, of(stored(), what_if(stored(), &[], &series))).await.unwrap();
    let used = table.rows.iter().filter_map(|row| row.wire.as_ref()).count();
    assert_eq!((used, table.unchanged_strings), (236, 0), "every string, as core or as plain wire");
    // No. 13: .031 in in the one series, 0.775 mm in the other (a trade list of 2003).
    let top = table.rows.iter().find(|row| row.string_id == "88.1").unwrap().tension_n.unwrap();
    let squared = (0.775_f64 / (0.031 * 25.4)).powi(2);
    assert!((top.new.unwrap() / top.old.unwrap() / squared - 1.0).abs() < 1e-9, "{top:?}");

    let wrong = [NoteChange { speaking_mm: Some(f64::INFINITY), ..note(3) }, note(3), note(99)];
    let fields = ["old.note_changes[1].note", "old.note_changes[2].note"];
    assert_faults(compare(&world, of(what_if(stored(), &wrong, &[]), stored())).await, &fields);
    let fields = ["old.note_changes[0].speaking_mm"];
    assert_faults(compare(&world, of(what_if(stored(), &wrong[..1], &[]), stored())).await, &fields);
    // Of a serial, on top of its measurements.
    let as_built = vec![AsBuilt { note: 88, speaking_mm: Some(51.0), ..AsBuilt::default() }];
    world.open(Job { as_built, ..job("S-1") }).await;
    let table = compare(&world, of(serial("S-1"), what_if(serial("S-1"), &notes[..1], &[]))).await.unwrap();
    assert_eq!(table.rows.iter().map(|row| row.note).collect::<Vec<_>>(), [52, 52, 52]);
}

#[tokio::test]
async fn faults_of_both_sides_come_together() {
    let world = World::with_scale().await;
    assert_faults(compare(&world, CompareSetsRequest::default()).await, &["old", "new"]);
    let mut broken = scale("grand", "a");
    broken.notes[3].speaking_mm = f64::NAN;
    let request = CompareSetsRequest {
        old: at(given(broken), ComputeOptions { a4_hz: Some(9.0), ..ComputeOptions::default() }),
        new: Some(SetSource { wires: vec![copper("cu", 20.0)], ..SetSource::default() }),
        tolerances: Some(DifferenceTolerances {
            tension_share: Some(-1.0),
            inharmonicity_share: Some(f64::NAN),
            ..DifferenceTolerances::default()
        }),
    };
    let fields = [
        "old.options.a4_hz",
        "old.scale.notes[3].speaking_mm",
        "new.wires[0].diameter_mm",
        "new.source",
        "tolerances.tension_share",
        "tolerances.inharmonicity_share",
    ];
    assert_faults(compare(&world, request).await, &fields);
    let mut shorter = scale("grand", "a");
    shorter.notes.truncate(85);
    shorter.last_note = 85;
    assert_faults(compare(&world, of(stored(), given(shorter))).await, &["new"]);
    assert_refused(compare(&world, of(stored(), serial("S-9"))).await, Code::NotFound, "NOT_FOUND");
}

/// The demo's scales with the wires that they name beside the inch series.
fn demo_grands() -> (Vec<Scale>, Vec<Wire>) {
    let scales = [
        include_str!("../../../becket/demo/scales/concert-270.toml"),
        include_str!("../../../becket/demo/scales/small-160.toml"),
    ];
    let wires = include_str!("../../../becket/demo/wires.toml");
    let wires = parse_list(wires, becket_api::document::Format::Toml, "wires").unwrap();
    (scales.map(|text| parse_toml(text).unwrap()).to_vec(), wires)
}

#[tokio::test]
async fn the_grands_of_the_demo_are_stretched_like_published_ones() {
    let world = World::with_wires().await;
    let (scales, wires) = demo_grands();
    let total = async |scale: &Scale, string_model: StringModel| {
        let options = ComputeOptions { string_model: Some(string_model.into()), ..ComputeOptions::default() };
        let source =
            at(given(scale.clone()), options).map(|source| SetSource { wires: wires.clone(), ..source });
        let request = ComputeStretchRequest { source, ..ComputeStretchRequest::default() };
        let answer = stretch(&world, request).await.unwrap();
        assert_eq!(answer.models.unwrap().string_model(), string_model);
        assert_eq!((answer.notes.len(), answer.notes[48].offset_cents), (88, 0.0));
        let ends = answer.notes[87].offset_cents - answer.notes[0].offset_cents;
        assert!((ends - answer.total_cents).abs() < 1e-9 && answer.last_change_cents <= 1e-6);
        // About 30 cents flat and sharp at the ends (O. L. Railsback, JASA 9, 274, 1938, from memory); how flat the bass is
        // depends on the stiffness of its strings, and so on the size of the instrument.
        assert!((20.0..40.0).contains(&answer.notes[87].offset_cents), "{:?}", answer.notes[87]);
        assert!((-30.0..-5.0).contains(&answer.notes[0].offset_cents), "{:?}", answer.notes[0]);
        answer.total_cents
    };
    // 35, 45 and 60 cents in all on three instruments (J. O. Smith, Physical Audio Signal Processing). Long strings ask for
    // less: the concert grand lies at the lower end, the small one at the upper.
    let published = 35.0..=60.0;
    let [concert, small] = scales.as_slice() else { panic!("two grands") };
    let exact = (total(concert, StringModel::Stepped).await, total(small, StringModel::Stepped).await);
    assert!(published.contains(&exact.0) && published.contains(&exact.1) && exact.0 < exact.1, "{exact:?}");
    // The closed form does not know the bare ends, which raise B of the bass, and asks for less.
    let closed = (total(concert, StringModel::ClosedForm).await, total(small, StringModel::ClosedForm).await);
    assert!(closed.0 < exact.0 && closed.1 < exact.1 - 2.0, "{closed:?} {exact:?}");
}

#[tokio::test]
async fn a_stretch_put_into_the_scale_is_the_tuning_of_its_set() {
    let world = World::with_scale().await;
    for basis in [PitchBasis::FirstPartial, PitchBasis::StiffnessFree] {
        let options = ComputeOptions { pitch_basis: Some(basis.into()), ..ComputeOptions::default() };
        let request =
            ComputeStretchRequest { source: at(stored(), options), ..ComputeStretchRequest::default() };
        let answer = stretch(&world, request.clone()).await.unwrap();
        let tuned = Scale { notes: answer.scale_notes.clone(), ..scale("grand", "a") };
        let table =
            compare(&world, of(at(stored(), options), at(given(tuned.clone()), options))).await.unwrap();
        for note in &answer.notes {
            // Strings that the stretch moves by less than the tolerance have no row.
            let row = table.rows.iter().find(|row| row.note == note.note);
            if let Some(change) = row.and_then(|row| row.tension_n) {
                assert!((change.new.unwrap() / note.tension_n - 1.0).abs() < 1e-9, "{basis:?} {note:?}");
            }
        }
        assert!(table.rows.len() > 100);
        // A fixed point: offsets that are there already are not added.
        let again = ComputeStretchRequest { source: at(given(tuned), options), ..request };
        let again = stretch(&world, again).await.unwrap();
        assert!((again.total_cents - answer.total_cents).abs() < 1e-5);
    }
}

#[tokio::test]
async fn octave_rules_and_faults_of_a_stretch() {
    let world = World::with_scale().await;
    let with = |rule: OctaveRule| ComputeStretchRequest {
        source: stored(),
        regions: vec![OctaveRegion { first_note: 1, rule: rule.into() }],
        ..ComputeStretchRequest::default()
    };
    let narrow = stretch(&world, with(OctaveRule::TwoOne)).await.unwrap();
    let wide = stretch(&world, with(OctaveRule::SixThree)).await.unwrap();
    assert!(wide.total_cents > narrow.total_cents + 5.0, "{} {}", wide.total_cents, narrow.total_cents);

    let request = ComputeStretchRequest {
        source: None,
        regions: vec![OctaveRegion { first_note: 500, rule: 0 }, OctaveRegion { first_note: 3, rule: 1 }],
        smoothness: Some(0.0),
        tolerance_cents: Some(f64::NAN),
        max_iterations: Some(-1),
    };
    let fields = [
        "source",
        "max_iterations",
        "regions[0].first_note",
        "regions[0].rule",
        "smoothness",
        "tolerance_cents",
    ];
    assert_faults(stretch(&world, request).await, &fields);
    let hasty = ComputeStretchRequest {
        source: stored(),
        max_iterations: Some(1),
        ..ComputeStretchRequest::default()
    };
    let status = assert_refused(stretch(&world, hasty).await, Code::FailedPrecondition, "NOT_COMPUTABLE");
    assert!(status.message().contains("not settled after 1 iterations"), "{status:?}");
}

#[tokio::test]
async fn bands_follow_from_tolerances() {
    let world = World::with_scale().await;
    let tolerances = Tolerances {
        // ASTM A228: ±.0004 in.
        core_diameter_mm: Some(0.01016),
        winding_diameter_mm: Some(0.01),
        pitch_cents: Some(2.0),
        ..Tolerances::default()
    };
    let request = ComputeBandsRequest { source: stored(), notes: vec![64, 10], tolerances: Some(tolerances) };
    let answer = bands(&world, request.clone()).await.unwrap();
    assert_eq!(answer.notes.iter().map(|bands| bands.note).collect::<Vec<_>>(), [10, 64]);
    let (wound, plain) = (&answer.notes[0], &answer.notes[1]);
    let tension_n = plain.tension_n.as_ref().unwrap();
    // T ∝ d²·f²: No. 16 is .037 in, hence 2·.0004/.037; and 2 cents are 2·2·ln 2/1200.
    let parts: Vec<_> =
        tension_n.parts.iter().map(|part| (part.source(), part.change / tension_n.nominal)).collect();
    let [(first, by_diameter), (second, by_pitch)] = parts.as_slice() else { panic!("{parts:?}") };
    assert_eq!((*first, *second), (ToleranceSource::CoreDiameter, ToleranceSource::Pitch));
    assert!((by_diameter - 2.0 * 0.0004 / 0.037).abs() < 1e-4, "{by_diameter}");
    assert!((by_pitch - 4.0 * std::f64::consts::LN_2 / 1200.0).abs() < 1e-5, "{by_pitch}");
    let sum = (by_diameter + by_pitch) * tension_n.nominal;
    assert!((tension_n.worst_case - sum).abs() < 1e-9 && tension_n.root_sum_square < sum);
    assert!(plain.load_share.is_some() && plain.strength_label.contains("A228"), "{plain:?}");
    assert_eq!(wound.winding_wire_ids, ["cu-1.00"]);
    assert_eq!(wound.tension_n.as_ref().unwrap().parts.len(), 3);
    // A winding wire off by 0.01 mm is 0.02 mm of diameter, beside the core's own (geometry).
    let winder = wound.wound.as_ref().unwrap();
    let over_mm = winder.outer_diameter_mm.as_ref().unwrap();
    assert!((over_mm.worst_case - 0.02 - 0.01016).abs() < 1e-9, "{over_mm:?}");
    assert_eq!(winder.layers.len(), 1);
    assert!(plain.wound.is_none() && plain.clearance_mm.is_none());
    let every = bands(&world, ComputeBandsRequest { notes: vec![], ..request }).await.unwrap();
    assert_eq!(every.notes.len(), 88);
    assert_eq!(every.notes[63], answer.notes[1]);
}

#[tokio::test]
async fn bands_and_their_figures_are_those_of_the_options() {
    let world = World::with_scale().await;
    let options = |basis: PitchBasis, string: StringModel, winding: WindingModel| ComputeOptions {
        pitch_basis: Some(basis.into()),
        string_model: Some(string.into()),
        winding_model: Some(winding.into()),
        ..ComputeOptions::default()
    };
    let tolerances = Tolerances { winding_diameter_mm: Some(0.01), ..Tolerances::default() };
    let mut seen = Vec::new();
    for options in [
        options(PitchBasis::StiffnessFree, StringModel::ClosedForm, WindingModel::Tube),
        options(PitchBasis::FirstPartial, StringModel::Stepped, WindingModel::Helix),
    ] {
        let request = ComputeBandsRequest {
            source: at(stored(), options),
            notes: vec![10],
            tolerances: Some(tolerances),
        };
        let answer = bands(&world, request).await.unwrap();
        let models = answer.models.unwrap();
        assert_eq!(
            (Some(models.pitch_basis), Some(models.string_model)),
            (options.pitch_basis, options.string_model)
        );
        let request = becket_api::stringing::ComputeStringSetRequest {
            source: Some(becket_api::stringing::compute_string_set_request::Source::Stored(reference())),
            options: Some(options),
            ..becket_api::stringing::ComputeStringSetRequest::default()
        };
        let set = world.sets().compute_string_set(request).await.unwrap().into_inner().string_set.unwrap();
        let string = set.strings.iter().find(|string| string.note == 10).unwrap();
        let row = &answer.notes[0];
        assert!((row.tension_n.as_ref().unwrap().nominal / string.tension_n - 1.0).abs() < 1e-9);
        assert!((row.inharmonicity.as_ref().unwrap().nominal / string.inharmonicity - 1.0).abs() < 1e-9);
        seen.push(row.inharmonicity.as_ref().unwrap().root_sum_square);
    }
    assert!((seen[0] / seen[1] - 1.0).abs() > 0.01, "{seen:?}");
}

#[tokio::test]
async fn faults_of_bands() {
    let world = World::with_scale().await;
    assert_faults(bands(&world, ComputeBandsRequest::default()).await, &["tolerances", "source"]);
    let tolerances = Tolerances {
        youngs_modulus_share: Some(0.5),
        core_density_share: Some(f64::NAN),
        winding_density_share: Some(-0.1),
        ..Tolerances::default()
    };
    let request =
        ComputeBandsRequest { source: stored(), notes: vec![10, 10, 99], tolerances: Some(tolerances) };
    let fields = [
        "tolerances.youngs_modulus_share",
        "tolerances.core_density_share",
        "tolerances.winding_density_share",
        "notes[1]",
        "notes[2]",
    ];
    assert_faults(bands(&world, request).await, &fields);
    let zero = ComputeBandsRequest {
        source: stored(),
        notes: vec![],
        tolerances: Some(Tolerances { pitch_cents: Some(0.0), ..Tolerances::default() }),
    };
    assert_faults(bands(&world, zero).await, &["tolerances"]);
}

#[tokio::test]
async fn only_measured_strings_are_special() {
    let world = World::with_scale().await;
    let options = Some(ComputeOptions { a4_hz: Some(442.0), ..ComputeOptions::default() });
    let as_built = vec![
        AsBuilt { note: 10, speaking_mm: Some(1893.0), ..AsBuilt::default() },
        // Within the tolerance, so a standard string does.
        AsBuilt {
            note: 60,
            speaking_mm: Some(scale("grand", "a").notes[59].speaking_mm + 0.02),
            ..AsBuilt::default()
        },
        AsBuilt { note: 88, speaking_mm: Some(51.0), ..AsBuilt::default() },
    ];
    world.open(Job { as_built, options, ..job("S-1") }).await;
    world.open(Job { options, ..job("S-2") }).await;
    let of = |serial_id: &str| ListSpecialStringsRequest {
        serial_id: serial_id.to_owned(),
        ..ListSpecialStringsRequest::default()
    };
    let usual = special(&world, of("S-2")).await.unwrap();
    assert_eq!((usual.strings.len(), usual.standard_strings), (0, 236));
    let answer = special(&world, of("S-1")).await.unwrap();
    assert_eq!((answer.model_id.as_str(), answer.revision_id.as_str()), ("grand", "a"));
    let ids: Vec<_> =
        answer.strings.iter().map(|one| one.difference.as_ref().unwrap().string_id.as_str()).collect();
    assert_eq!(ids, ["10.1", "10.2", "88.1", "88.2", "88.3"]);
    assert_eq!(answer.standard_strings, 236 - 5);
    let set = world.set("S-1").await;
    let first = answer.strings[0].string.as_ref().unwrap();
    assert_eq!(first, set.strings.iter().find(|string| string.string_id == "10.1").unwrap());
    let windings = answer.strings[0].difference.as_ref().unwrap().windings.as_ref().unwrap();
    assert!((windings.old[0].covered_mm - windings.new[0].covered_mm - 7.0).abs() < 1e-9, "{windings:?}");
    // Against the standard at 440 Hz every string is another.
    let standard_options = Some(ComputeOptions::default());
    let request = ListSpecialStringsRequest { standard_options, ..of("S-1") };
    assert_eq!(special(&world, request).await.unwrap().strings.len(), 236);
    // With wide tolerances none is.
    let wide = DifferenceTolerances {
        speaking_mm: Some(10.0),
        tension_share: Some(0.1),
        load_share: Some(0.1),
        inharmonicity_share: Some(0.1),
        cut_mm: Some(10.0),
        ..DifferenceTolerances::default()
    };
    let request = ListSpecialStringsRequest { tolerances: Some(wide), ..of("S-1") };
    assert_eq!(special(&world, request).await.unwrap().strings.len(), 0);
}

#[tokio::test]
async fn special_strings_need_a_serial_and_sound_tolerances() {
    let world = World::with_scale().await;
    let request = ListSpecialStringsRequest {
        serial_id: String::new(),
        tolerances: Some(DifferenceTolerances { cut_mm: Some(-1.0), ..DifferenceTolerances::default() }),
        standard_options: Some(ComputeOptions { a4_hz: Some(1.0), ..ComputeOptions::default() }),
    };
    assert_faults(
        special(&world, request).await,
        &["tolerances.cut_mm", "standard_options.a4_hz", "serial_id"],
    );
    let missing =
        ListSpecialStringsRequest { serial_id: "S-9".to_owned(), ..ListSpecialStringsRequest::default() };
    assert_refused(special(&world, missing).await, Code::NotFound, "NOT_FOUND");
}
