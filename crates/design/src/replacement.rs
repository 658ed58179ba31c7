//! From a measured old string back to a specification in stocked wire.

use becket_acoustics::{
    BareEnds, CoveredSpan, CrossSection, DomainError, cents_between, layer_density_g_m, load_share,
    outer_diameter_mm,
};
use becket_scale::{DEFAULT_LOAD_SHARE_LIMIT, Models, StringBody, StringModel};
use becket_wire::{Wire, WireId};

use crate::check::{FREQUENCY_HZ, Faults, SPEAKING_MM};
use crate::error::{DesignError, Unmet};

/// Most cores and most winding wires of a stock.
const MAX_WIRES: usize = 200;
/// Most combinations of core and windings: a bound on time, of the order of a second.
const MAX_COMBINATIONS: usize = 1_000_000;
/// Most candidates that are returned.
const MAX_CANDIDATES: usize = 1000;

/// One layer of an old string, as measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredLayer {
    /// Diameter over this layer in mm, above that of what it lies on, up to 15.
    pub over_diameter_mm: f64,
    /// Start of the layer from the front end of the speaking length in mm, 0 or more.
    pub start_mm: f64,
    /// End of the layer from the front end of the speaking length in mm, above the start; beyond the speaking length
    /// where it goes on past the bridge pin.
    pub end_mm: f64,
    /// Density of its wire in kg/m³, 1000 to 25000; copper is 8930.
    pub density_kg_m3: f64,
}

/// An old string, as measured.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredString {
    /// Number of the note, for reports.
    pub note: i16,
    /// Speaking length in mm, 20 to 3000.
    pub speaking_mm: f64,
    /// Target frequency in Hz, 5 to 10000, on the pitch basis of the options.
    pub frequency_hz: f64,
    /// Shape of wire or core.
    pub core_section: CrossSection,
    /// Diameter of wire or core in mm, of a hexagonal one the width across flats; 0.05 to 6.
    pub core_diameter_mm: f64,
    /// Density of wire or core in kg/m³, 1000 to 25000; steel is 7850.
    pub core_density_kg_m3: f64,
    /// Young's modulus of wire or core in GPa, 10 to 500; steel is 206.
    pub core_youngs_modulus_gpa: f64,
    /// Layers from the inside out: none (plain), one or two.
    pub layers: Vec<MeasuredLayer>,
}

/// How replacements are ranked and which are left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReplacementOptions {
    /// How many are returned at most, 1 to 1000.
    pub count: usize,
    /// Largest share of breaking load, 0.01 to 1.
    pub max_load_share: f64,
    /// Weight of the squared logarithm of the ratio of linear densities; 0, or 10⁻⁶ to 10⁶.
    pub density_weight: f64,
    /// Weight of the squared logarithm of the ratio of inharmonicities; 0, or 10⁻⁶ to 10⁶.
    pub inharmonicity_weight: f64,
    /// What strings are taken to be, and which frequency the target names.
    pub models: Models,
}

impl Default for ReplacementOptions {
    /// Ten replacements up to 70 % of breaking load; being off in density weighs ten times as much as in B, since it is
    /// heard as tension against the neighbours. Common practice, no source.
    fn default() -> Self {
        Self {
            count: 10,
            max_load_share: DEFAULT_LOAD_SHARE_LIMIT,
            density_weight: 1.0,
            inharmonicity_weight: 0.1,
            models: Models::default(),
        }
    }
}

/// Figures of the old string.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OldFigures {
    /// Linear density in g/m as it acts on the first partial.
    pub linear_density_g_m: f64,
    /// Tension in N at the target frequency.
    pub tension_n: f64,
    /// Inharmonicity coefficient B, by the string model: of the uniform string with the core's stiffness, or of the exact
    /// partials.
    pub inharmonicity: f64,
}

/// A string of stocked wire that can stand in for the old one.
#[derive(Debug, Clone, PartialEq)]
pub struct Replacement {
    /// Wire, or core.
    pub core_id: WireId,
    /// Winding wires from the inside out, as many as the old string has layers.
    pub winding_ids: Vec<WireId>,
    /// Linear density in g/m as it acts on the first partial.
    pub linear_density_g_m: f64,
    /// Tension in N at the target frequency.
    pub tension_n: f64,
    /// Share of the breaking load at the target frequency.
    pub load_share: f64,
    /// Inharmonicity coefficient B at the target frequency.
    pub inharmonicity: f64,
    /// Diameter over everything in mm; over a hexagonal core the mean one.
    pub outer_diameter_mm: f64,
    /// Linear density over that of the old string, less 1.
    pub density_deviation: f64,
    /// Tension over that of the old string, less 1, both at the target frequency.
    pub tension_deviation: f64,
    /// How much higher it sounds than the old string at the old string's tension, in cents, on the pitch basis.
    pub pitch_deviation_cents: f64,
    /// Inharmonicity over that of the old string, less 1, both at the target frequency.
    pub inharmonicity_deviation: f64,
    /// What it is ranked by; 0 is the old string itself.
    pub score: f64,
}

/// Replacements, best first, and the old string's figures.
#[derive(Debug, Clone, PartialEq)]
pub struct Replacements {
    /// The old string.
    pub old: OldFigures,
    /// Replacements by rising score; of equal ones in the order of the stock.
    pub candidates: Vec<Replacement>,
    /// How many combinations of the stock keep to the largest share of breaking load.
    pub within_limits: u64,
    /// Of them, those whose figures were computed exactly before they were ranked; all, unless the string model is stepped
    /// and the stock is large.
    pub exact: u64,
}

/// Combinations that are computed exactly in the stepped model, at least; four times what is returned where that is more.
const SHORTLIST: usize = 400;

/// Finds stocked wire for a string that has only been measured.
///
/// # Units
/// As the fields say.
///
/// # Formula
/// ```text
/// winding wire of a layer  w = (D_over − D_under)/2,  over a hexagon from its girth diameter
/// score                    w_μ·(ln μ/μ_old)² + w_B·(ln B/B_old)²
/// pitch at equal tension   1200·log₂(f(T_old)/f_old) cents
/// ```
/// The replacement's layers start and end where the old ones do. T, μ and B are those of the models in the options.
///
/// # Valid range and accuracy
/// Old windings are often flattened or stretched, so diameters are best taken at several places. Every combination of the
/// stock is looked at; an inner winding wire is thinner than the outer one. In the stepped model a large stock is first
/// ranked by closed formulas with B corrected for bare ends ([`becket_acoustics::BareEnds`]); the best of that list, 400 or
/// four times what is returned, are solved exactly and ranked again ([`Replacements::exact`]).
///
/// # Errors
/// [`DesignError::Faults`] with every fault; [`DesignError::NothingFits`] if all combinations are above the largest share
/// of breaking load or there are none; [`DesignError::Formula`] for what no formula takes, such as an old string so bare
/// that its exact B is not above 0 and nothing can be compared with it.
///
/// # Source
/// Density: see [`becket_acoustics::layer_density_g_m`]. Ranking: common practice, no source.
///
/// # Examples
/// ```
/// use becket_acoustics::CrossSection;
/// use becket_design::{MeasuredString, ReplacementOptions, replace};
/// use becket_wire::{SizeSeries, Wire, standard_wires};
///
/// let stock: Vec<Wire> =
///     standard_wires(SizeSeries::Inch).into_iter().filter(|wire| wire.breaking_load_n().is_some()).collect();
/// let old = MeasuredString {
///     note: 40,
///     speaking_mm: 620.0,
///     frequency_hz: 261.63,
///     core_section: CrossSection::Round,
///     core_diameter_mm: 0.94, // No. 16 is 0.9398 mm
///     core_density_kg_m3: 7850.0,
///     core_youngs_modulus_gpa: 206.0,
///     layers: vec![],
/// };
/// let found = replace(&old, &stock, &[], &ReplacementOptions::default())?;
/// assert_eq!(found.candidates[0].core_id.as_str(), "mw-in-16");
/// let nothing = MeasuredString { core_diameter_mm: 0.0, ..old };
/// assert!(replace(&nothing, &stock, &[], &ReplacementOptions::default()).is_err());
/// # Ok::<(), becket_design::DesignError>(())
/// ```
pub fn replace(
    old: &MeasuredString,
    cores: &[Wire],
    windings: &[Wire],
    options: &ReplacementOptions,
) -> Result<Replacements, DesignError> {
    check_replacement(old, cores, windings, options)?;
    let formula = |source| DesignError::Formula { note: old.note, source };
    let figures = old_figures(old, &options.models).map_err(formula)?;
    let mut refused = Unmet::new(old.note);
    let choices = combinations(old.layers.len(), windings);
    if cores.len() * choices.len() > MAX_COMBINATIONS {
        let mut faults = Faults::default();
        let value = format!("{} combinations", cores.len() * choices.len());
        faults.add("windings", value, format!("up to {MAX_COMBINATIONS} combinations; give fewer wires"));
        faults.finish()?;
    }
    let stepped = options.models.string_model == StringModel::Stepped && !old.layers.is_empty();
    let keep = if stepped { SHORTLIST.max(4 * options.count) } else { options.count };
    let ends = if stepped { Some(bare_ends(old, &options.models).map_err(formula)?) } else { None };
    let mut candidates: Vec<Candidate<'_>> = Vec::new();
    for core in cores {
        for layers in &choices {
            let strand = Strand { core, layers };
            refused.tried += 1;
            let quick = match quick(old, &strand, ends.as_deref(), options) {
                // So stiff a core has no tension at this pitch.
                Err(DomainError { argument: "first_partial_hz", .. }) => {
                    refused.too_low += 1;
                    continue;
                }
                other => other.map_err(formula)?,
            };
            refused.saw(quick.load_share);
            if quick.load_share > options.max_load_share {
                refused.too_high += 1;
            } else {
                let score = score(&figures, &quick, options);
                candidates.push(Candidate { strand, score });
            }
        }
        // Keeps memory small with a large stock; the sort is stable, so equal ones stay in the order of the stock.
        if candidates.len() > 4 * keep {
            shortened(&mut candidates, keep);
        }
    }
    let within_limits = refused.tried - refused.too_high - refused.too_low;
    shortened(&mut candidates, keep);
    let mut exact = Vec::with_capacity(candidates.len());
    for candidate in &candidates {
        let found = candidate_figures(old, &figures, &candidate.strand, options).map_err(formula)?;
        // The limit holds for the exact figures too.
        exact.extend(Some(found).filter(|found| found.load_share <= options.max_load_share));
    }
    if exact.is_empty() {
        return Err(DesignError::NothingFits(vec![refused]));
    }
    exact.sort_by(|a, b| a.score.total_cmp(&b.score));
    exact.truncate(options.count);
    let exact_count = if stepped { candidates.len() as u64 } else { within_limits };
    Ok(Replacements { old: figures, candidates: exact, within_limits, exact: exact_count })
}

/// A combination of the stock.
#[derive(Debug, Clone, Copy)]
struct Strand<'a> {
    core: &'a Wire,
    layers: &'a [&'a Wire],
}

/// A combination and what it is ranked by before it is computed exactly.
#[derive(Debug)]
struct Candidate<'a> {
    strand: Strand<'a>,
    score: f64,
}

fn shortened(candidates: &mut Vec<Candidate<'_>>, keep: usize) {
    candidates.sort_by(|a, b| a.score.total_cmp(&b.score));
    candidates.truncate(keep);
}

/// Finds what is wrong with the question without answering it; [`replace`] does the same first.
///
/// # Errors
/// [`DesignError::Faults`] with every fault.
pub fn check_replacement(
    old: &MeasuredString,
    cores: &[Wire],
    windings: &[Wire],
    options: &ReplacementOptions,
) -> Result<(), DesignError> {
    let mut faults = Faults::default();
    faults.range("speaking_mm", old.speaking_mm, SPEAKING_MM, "mm");
    faults.range("frequency_hz", old.frequency_hz, FREQUENCY_HZ, "Hz");
    faults.range("core_diameter_mm", old.core_diameter_mm, (0.05, 6.0), "mm");
    faults.range("core_density_kg_m3", old.core_density_kg_m3, (1000.0, 25_000.0), "kg/m³");
    faults.range("core_youngs_modulus_gpa", old.core_youngs_modulus_gpa, (10.0, 500.0), "GPa");
    if old.layers.len() > 2 {
        faults.add("layers", format!("{} layers", old.layers.len()), "none, one or two");
    }
    let mut under_mm = old.core_section.girth_diameter_mm(old.core_diameter_mm).unwrap_or(0.0);
    for (at, layer) in old.layers.iter().enumerate().take(2) {
        let path = |field: &str| format!("layers[{at}].{field}");
        // Twice the thinnest wire that a catalogue takes.
        faults.range(path("over_diameter_mm"), layer.over_diameter_mm, (under_mm + 0.1, 15.0), "mm");
        faults.range(path("start_mm"), layer.start_mm, (0.0, old.speaking_mm / 2.0), "mm");
        faults.range(path("end_mm"), layer.end_mm, (old.speaking_mm / 2.0, 4500.0), "mm");
        faults.range(path("density_kg_m3"), layer.density_kg_m3, (1000.0, 25_000.0), "kg/m³");
        under_mm = layer.over_diameter_mm;
    }
    faults.tension_wires("cores", cores, MAX_WIRES);
    if old.layers.is_empty() {
        if !windings.is_empty() {
            faults.add("windings", format!("{} entries", windings.len()), "none for a plain string");
        }
    } else {
        faults.winding_wires("windings", windings, MAX_WIRES);
    }
    faults.count("options.count", options.count, MAX_CANDIDATES);
    faults.range("options.max_load_share", options.max_load_share, (0.01, 1.0), "");
    faults.weight("options.density_weight", options.density_weight);
    faults.weight("options.inharmonicity_weight", options.inharmonicity_weight);
    faults.models("options.models", &options.models);
    if options.density_weight == 0.0 && options.inharmonicity_weight == 0.0 {
        faults.add("options", "both weights 0", "one weight above 0 at least, or nothing could be ranked");
    }
    faults.finish()
}

fn old_figures(old: &MeasuredString, models: &Models) -> Result<OldFigures, DomainError> {
    let mut under_mm = old.core_section.girth_diameter_mm(old.core_diameter_mm)?;
    let mut spans = [CoveredSpan { density_g_m: 0.0, start_mm: 0.0, end_mm: old.speaking_mm }; 2];
    for (layer, slot) in old.layers.iter().zip(&mut spans) {
        let wire_mm = (layer.over_diameter_mm - under_mm) / 2.0;
        *slot = span(layer, under_mm, wire_mm, layer.density_kg_m3, models)?;
        under_mm = layer.over_diameter_mm;
    }
    let body = StringBody {
        speaking_mm: old.speaking_mm,
        core_g_m: old.core_density_kg_m3 * old.core_section.area_mm2(old.core_diameter_mm)? * 1e-3,
        youngs_modulus_gpa: old.core_youngs_modulus_gpa,
        second_moment_mm4: old.core_section.second_moment_mm4(old.core_diameter_mm)?,
        spans: (!old.layers.is_empty()).then_some(spans),
    };
    let at = body.at(old.frequency_hz, models, false)?;
    if at.inharmonicity > 0.0 {
        return Ok(OldFigures {
            linear_density_g_m: at.linear_density_g_m,
            tension_n: at.tension_n,
            inharmonicity: at.inharmonicity,
        });
    }
    Err(DomainError {
        argument: "inharmonicity",
        value: at.inharmonicity,
        allowed: "above 0: a string that is mostly covered; take the closed form for this one",
    })
}

fn span(
    layer: &MeasuredLayer,
    under_mm: f64,
    wire_mm: f64,
    density: f64,
    models: &Models,
) -> Result<CoveredSpan, DomainError> {
    Ok(CoveredSpan {
        density_g_m: layer_density_g_m(models.winding_model, under_mm, wire_mm, density)?,
        start_mm: layer.start_mm,
        end_mm: layer.end_mm,
    })
}

/// All choices of winding wire for a number of layers.
fn combinations(layers: usize, windings: &[Wire]) -> Vec<Vec<&Wire>> {
    match layers {
        0 => vec![Vec::new()],
        1 => windings.iter().map(|wire| vec![wire]).collect(),
        _ => {
            let over = |inner: &Wire, outer: &Wire| inner.diameter_mm() < outer.diameter_mm();
            let pairs = windings.iter().flat_map(|inner| {
                windings.iter().filter(move |outer| over(inner, outer)).map(move |outer| vec![inner, outer])
            });
            pairs.collect()
        }
    }
}

/// A combination as it vibrates, with the layers where the old ones are, and its diameter over everything in mm.
fn body(
    old: &MeasuredString,
    strand: &Strand<'_>,
    models: &Models,
) -> Result<(StringBody, f64), DomainError> {
    let core = strand.core;
    let mut under_mm = core.material().cross_section().girth_diameter_mm(core.diameter_mm())?;
    let mut spans = [CoveredSpan { density_g_m: 0.0, start_mm: 0.0, end_mm: old.speaking_mm }; 2];
    for ((layer, wire), slot) in old.layers.iter().zip(strand.layers).zip(&mut spans) {
        *slot = span(layer, under_mm, wire.diameter_mm(), wire.density_kg_m3(), models)?;
        under_mm = outer_diameter_mm(under_mm, wire.diameter_mm())?;
    }
    let body = StringBody {
        speaking_mm: old.speaking_mm,
        core_g_m: core.linear_density_g_m(),
        youngs_modulus_gpa: core.youngs_modulus_gpa(),
        second_moment_mm4: core.second_moment_mm4(),
        spans: (!old.layers.is_empty()).then_some(spans),
    };
    Ok((body, under_mm))
}

/// Figures by which a combination is ranked first.
struct Quick {
    linear_density_g_m: f64,
    load_share: f64,
    inharmonicity: f64,
}

/// The bare ends of the old string's layers, for the correction of B.
fn bare_ends(old: &MeasuredString, models: &Models) -> Result<Vec<BareEnds>, DomainError> {
    let length_mm = old.speaking_mm;
    let of = |layer: &MeasuredLayer| {
        let back_mm = (length_mm - layer.end_mm).max(0.0);
        BareEnds::new(length_mm, layer.start_mm, back_mm, models.partial_count)
    };
    old.layers.iter().map(of).collect()
}

/// The closed form, with B corrected for bare ends where `ends` are given.
fn quick(
    old: &MeasuredString,
    strand: &Strand<'_>,
    ends: Option<&[BareEnds]>,
    options: &ReplacementOptions,
) -> Result<Quick, DomainError> {
    let models = Models { string_model: StringModel::ClosedForm, ..options.models };
    let (body, _) = body(old, strand, &models)?;
    let at = body.at(old.frequency_hz, &models, false)?;
    let spans = body.spans.unwrap_or([CoveredSpan { density_g_m: 0.0, start_mm: 0.0, end_mm: 0.0 }; 2]);
    let covered_g_m = body.core_g_m + spans.iter().map(|span| span.density_g_m).sum::<f64>();
    let added = ends.unwrap_or_default().iter().zip(&spans);
    let added: f64 = added.map(|(ends, span)| ends.inharmonicity(span.density_g_m / covered_g_m)).sum();
    Ok(Quick {
        linear_density_g_m: at.linear_density_g_m,
        load_share: load_share(at.tension_n, breaking_n(strand.core))?,
        inharmonicity: at.inharmonicity + added,
    })
}

/// The breaking load is known: that was checked.
fn breaking_n(core: &Wire) -> f64 {
    core.breaking_load_n().unwrap_or(f64::MIN_POSITIVE)
}

/// What a combination is ranked by. One whose exact B is not above 0 comes last.
fn score(old: &OldFigures, quick: &Quick, options: &ReplacementOptions) -> f64 {
    let log_density = (quick.linear_density_g_m / old.linear_density_g_m).ln();
    let ratio = quick.inharmonicity / old.inharmonicity;
    let log_inharmonicity = if ratio > 0.0 { ratio.ln() } else { f64::INFINITY };
    // A weight of 0 takes the term out, however large.
    let weighted = |weight: f64, log: f64| if weight == 0.0 { 0.0 } else { weight * log * log };
    weighted(options.density_weight, log_density) + weighted(options.inharmonicity_weight, log_inharmonicity)
}

/// All figures of a combination, by the models of the options.
fn candidate_figures(
    old: &MeasuredString,
    figures: &OldFigures,
    strand: &Strand<'_>,
    options: &ReplacementOptions,
) -> Result<Replacement, DomainError> {
    let (body, outer_diameter_mm) = body(old, strand, &options.models)?;
    let at = body.at(old.frequency_hz, &options.models, false)?;
    let load_share = load_share(at.tension_n, breaking_n(strand.core))?;
    let (linear_density_g_m, inharmonicity) = (at.linear_density_g_m, at.inharmonicity);
    let sounds_hz = body.frequency_at(figures.tension_n, &options.models)?;
    Ok(Replacement {
        core_id: strand.core.wire_id().clone(),
        winding_ids: strand.layers.iter().map(|wire| wire.wire_id().clone()).collect(),
        linear_density_g_m,
        tension_n: at.tension_n,
        load_share,
        inharmonicity,
        outer_diameter_mm,
        density_deviation: linear_density_g_m / figures.linear_density_g_m - 1.0,
        tension_deviation: at.tension_n / figures.tension_n - 1.0,
        pitch_deviation_cents: cents_between(old.frequency_hz, sounds_hz)?,
        inharmonicity_deviation: inharmonicity / figures.inharmonicity - 1.0,
        score: score(figures, &Quick { linear_density_g_m, load_share, inharmonicity }, options),
    })
}
