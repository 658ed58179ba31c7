//! Figures that others have published, against the formulas. The source stands beside each; "from memory"
//! where the document was not at hand. Steel 7850 kg/m³ and A4 = 440 Hz unless said.

#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::f64::consts::PI;

use becket_acoustics::{
    CrossSection, Layer, WindingModel, elastic_strain, equal_tempered_hz, frequency_stiffness_free_hz,
    inharmonicity, load_share, outer_diameter_mm, partial_cents, pin_take_up_mm, relaxed_length_mm,
    stress_mpa, tension_stiffness_free_n, winding_wire_length_mm, wound_density_g_m,
};
use becket_units::{INCH_MM, KGF_N, LBF_N};

const STEEL_KG_M3: f64 = 7850.0;
const COPPER_KG_M3: f64 = 8930.0;

/// Asserts that `found` is within the share `tolerance` of `published`.
#[track_caller]
fn assert_near(what: &str, found: f64, published: f64, tolerance: f64) {
    let off = found / published - 1.0;
    assert!(off.abs() <= tolerance, "{what}: {found} against {published}, off by {:.4} %", 100.0 * off);
}

fn plain_g_m(diameter_mm: f64, density_kg_m3: f64) -> f64 {
    density_kg_m3 * CrossSection::Round.area_mm2(diameter_mm).unwrap() * 1e-3
}

/// Tension in N of a plain string at equal temperament.
fn plain_n(key: i32, length_mm: f64, diameter_mm: f64, density_kg_m3: f64) -> f64 {
    let hz = equal_tempered_hz(key, 440.0, 0.0).unwrap();
    tension_stiffness_free_n(length_mm, plain_g_m(diameter_mm, density_kg_m3), hz).unwrap()
}

/// Piano technicians' mailing list archive, May 2002, message 108432.
#[test]
fn key_64_of_the_technicians_list() {
    assert_near("7850 kg/m³", plain_n(64, 181.0, 0.925, 7850.0) / LBF_N, 170.2, 0.001);
    assert_near("7900 kg/m³", plain_n(64, 181.0, 0.925, 7900.0) / LBF_N, 171.3, 0.001);
}

/// Piano technicians' mailing list archive, May 2000, message 065089: 79.5 kgf, 59 % of 135 kgf.
#[test]
fn key_88_in_kilograms_force() {
    let n = plain_n(88, 54.0, 0.785, STEEL_KG_M3);
    assert_near("tension", n / KGF_N, 79.5, 0.006);
    assert!((load_share(n, 135.0 * KGF_N).unwrap() - 0.59).abs() < 0.005);
}

/// College technicians' list archive, June 1998, message 000540: 194 lbf, 69 % of 280 lbf.
#[test]
fn key_88_in_pounds_force() {
    let n = plain_n(88, 58.7, 0.030 * INCH_MM, STEEL_KG_M3);
    assert_near("tension", n / LBF_N, 194.0, 0.003);
    assert!((load_share(n, 280.0 * LBF_N).unwrap() - 0.69).abs() < 0.005);
}

/// Printed tension table quoted in a mechanical-music digest, 1996-04-25: key 53, 14 in, sizes 14 to 17.
#[test]
fn key_53_of_a_printed_tension_table() {
    let rows = [
        ("14", 0.033, 151.0),
        ("15", 0.035, 170.0),
        ("15½", 0.036, 179.8),
        ("16", 0.037, 190.0),
        ("16½", 0.038, 200.313),
        ("17", 0.039, 211.0),
    ];
    for (size, inch, lbf) in rows {
        assert_near(size, plain_n(53, 14.0 * INCH_MM, inch * INCH_MM, STEEL_KG_M3) / LBF_N, lbf, 0.003);
    }
}

/// Technicians' mailing list, January 2007, attachment: T in kgf = 2514·f²·L²·d² in m, with g = 9.81.
#[test]
fn constant_of_the_metric_rule() {
    let n = tension_stiffness_free_n(1000.0, plain_g_m(1.0, STEEL_KG_M3), 1.0).unwrap();
    assert_near("constant", n / 9.81 / 1e-6, 2514.0, 0.0001);
}

/// R. W. Young, "Inharmonicity of plain wire piano strings", JASA 24(3), 1952: the cents of partial n are
/// K·n²·d²/(f₀²·L⁴) in cm and Hz with K = 3.4·10¹³, for E/ρ = 25.5·10¹⁰ cgs.
#[test]
fn constant_of_young() {
    let (l_mm, d_mm, f0, density) = (620.0, 1.0, 262.0, STEEL_KG_M3);
    // 25.5·10¹⁰ cm²/s² = 25.5·10⁶ m²/s², times kg/m³ in Pa.
    let e_gpa = 25.5e6 * density * 1e-9;
    let t = tension_stiffness_free_n(l_mm, plain_g_m(d_mm, density), f0).unwrap();
    let b = inharmonicity(l_mm, t, e_gpa, CrossSection::Round.second_moment_mm4(d_mm).unwrap()).unwrap();
    let cents_per_n2 = 600.0 / std::f64::consts::LN_2 * b;
    let (l_cm, d_cm) = (l_mm / 10.0, d_mm / 10.0);
    let k = cents_per_n2 * f0 * f0 * l_cm.powi(4) / (d_cm * d_cm);
    assert_near("K", k, 3.404e13, 0.0005);
    assert_near("K as printed", k, 3.4e13, 0.0015);
}

/// Definition: 600·log₂(1 + B·n²) is nearly 865.617·B·n².
#[test]
fn cents_of_a_small_inharmonicity() {
    assert_near("cents", partial_cents(10, 1e-9).unwrap(), 865.617 * 1e-9 * 100.0, 1e-6);
}

/// A. Chaigne, A. Askenfelt, JASA 95, 1994, as a public simulation quotes them: C4, 0.62 m, 3.93 g, 670 N; f₀
/// 262 Hz; ε = E·I/(T·L²) = 3.82·10⁻⁵, so B = π²·ε = 3.77·10⁻⁴.
#[test]
fn c4_of_chaigne_and_askenfelt() {
    let (l_mm, t) = (620.0, 670.0);
    let f0 = frequency_stiffness_free_hz(l_mm, 3.93 / 0.62, t).unwrap();
    assert!((f0 - 262.19).abs() < 0.005, "{f0}");
    let e_gpa = 200.0;
    let i_mm4 = 3.82e-5 * t * l_mm * l_mm / (e_gpa * 1000.0);
    assert_near("B", inharmonicity(l_mm, t, e_gpa, i_mm4).unwrap(), 3.77e-4, 0.0005);
}

struct PublishedString {
    note: &'static str,
    length_m: f64,
    core_mm: f64,
    /// Linear density over the core's area.
    effective_kg_m3: f64,
    tension_n: f64,
    f0_hz: f64,
    stress_mpa: f64,
    b: f64,
}

const fn published(note: &'static str, row: [f64; 7]) -> PublishedString {
    let [length_m, core_mm, effective_kg_m3, tension_n, f0_hz, stress_mpa, b] = row;
    PublishedString { note, length_m, core_mm, effective_kg_m3, tension_n, f0_hz, stress_mpa, b }
}

/// Six strings of a grand from a public data file, with E = 202 GPa.
const SIX_STRINGS: [PublishedString; 6] = [
    published("C2 (wound)", [1.602, 1.051, 23919.0, 915.0, 65.54, 1055.0, 5.0849e-5]),
    published("C3", [1.259, 1.063, 7850.0, 759.0, 131.09, 855.0, 1.0386e-4]),
    published("C4", [0.657, 1.000, 7850.0, 741.0, 263.84, 943.0, 3.0597e-4]),
    published("C5", [0.344, 0.932, 7850.0, 696.0, 523.99, 1020.0, 8.9652e-4]),
    published("C6", [0.180, 0.891, 7850.0, 697.0, 1048.23, 1118.0, 2.7312e-3]),
    published("C7", [0.095, 0.831, 7850.0, 670.0, 2087.87, 1235.0, 7.7180e-3]),
];

impl PublishedString {
    fn inharmonicity(&self) -> f64 {
        let i_mm4 = CrossSection::Round.second_moment_mm4(self.core_mm).unwrap();
        inharmonicity(self.length_m * 1e3, self.tension_n, 202.0, i_mm4).unwrap()
    }
}

#[test]
fn six_published_strings() {
    for s in &SIX_STRINGS {
        let area_mm2 = CrossSection::Round.area_mm2(s.core_mm).unwrap();
        let g_m = s.effective_kg_m3 * area_mm2 * 1e-3;
        let (l_mm, t) = (s.length_m * 1e3, s.tension_n);
        let tension = tension_stiffness_free_n(l_mm, g_m, s.f0_hz).unwrap();
        assert_near(&format!("{} T", s.note), tension, t, 0.01);
        let f0 = frequency_stiffness_free_hz(l_mm, g_m, t).unwrap();
        assert_near(&format!("{} f0", s.note), f0, s.f0_hz, 0.01);
        assert_near(&format!("{} stress", s.note), stress_mpa(t, area_mm2).unwrap(), s.stress_mpa, 0.01);
        assert_near(&format!("{} B", s.note), s.inharmonicity(), s.b, 0.01);
    }
}

/// Young, JASA 24(3), 1952: the second partial of middle C is about 1.2 cents sharp, and sharpness doubles
/// every eight semitones. Middle C of the six strings, and their plain ones from C3 to C7.
#[test]
fn sharpness_of_middle_c_and_its_growth() {
    let [_, c3, c4, _, _, c7] = &SIX_STRINGS;
    let sharp = partial_cents(2, c4.inharmonicity()).unwrap();
    assert!((sharp - 1.2).abs() < 0.2, "{sharp}");
    let doublings = (c7.inharmonicity() / c3.inharmonicity()).log2();
    assert!((48.0 / doublings - 8.0).abs() < 0.5, "{}", 48.0 / doublings);
}

/// J. Bensa et al., JASA 114, 1095 (2003), from memory: L, c = √(T/μ), κ = √(E·I/μ) and B.
#[test]
fn strings_of_bensa() {
    let rows = [
        ("C2", 1.23, 160.9, 0.58, 8.48e-5),
        ("C4", 0.63, 329.6, 1.25, 3.58e-4),
        ("C7", 0.10, 418.6, 1.24, 8.66e-3),
    ];
    for (note, l_m, c, kappa, b) in rows {
        // The linear density cancels; any will do.
        let (kg_m, e_gpa) = (6e-3, 200.0);
        let i_mm4 = kappa * kappa * kg_m / (e_gpa * 1e9) * 1e12;
        let found = inharmonicity(l_m * 1e3, c * c * kg_m, e_gpa, i_mm4).unwrap();
        assert_near(note, found, b, 0.002);
    }
}

/// Diameter tolerance of ASTM A228 for .028 to .063 in, ±.0004 in: ±2.6 % of the tension at .031 in.
#[test]
fn tension_follows_the_diameter_tolerance() {
    let n = |inch: f64| plain_n(60, 200.0, inch * INCH_MM, STEEL_KG_M3);
    assert!((n(0.0314) / n(0.031) - 1.026).abs() < 0.0005);
}

/// Wound strings over round cores, copper 8930 and steel 7850 kg/m³: computed apart from this code from
/// ρ·(π/4)·(π/4)·(D² − d²) (tube) and ρ·(π/4)·w²·√(1 + (π(d + w)/w)²) (helix).
#[test]
fn table_of_wound_strings() {
    let rows = [
        (0.95, 0.30, 1.55, 13.8270, 13.8510, 13.128),
        (1.00, 0.50, 2.00, 22.6908, 22.7836, 9.478),
        (1.00, 1.00, 3.00, 50.2332, 50.7878, 6.362),
        (1.20, 1.50, 4.20, 98.1154, 99.5000, 5.743),
        (1.48, 2.00, 5.48, 166.8605, 169.4055, 5.557),
    ];
    for (core, wire, outer, tube, helix, metres) in rows {
        let layers = [Layer { wire_diameter_mm: wire, density_kg_m3: COPPER_KG_M3 }];
        let core_g_m = plain_g_m(core, STEEL_KG_M3);
        let g_m = |model| wound_density_g_m(model, CrossSection::Round, core, core_g_m, &layers).unwrap();
        assert!((outer_diameter_mm(core, wire).unwrap() - outer).abs() < 1e-9);
        assert!((g_m(WindingModel::Tube) - tube).abs() < 5.1e-5, "{core} {wire} {}", g_m(WindingModel::Tube));
        assert!(
            (g_m(WindingModel::Helix) - helix).abs() < 5.1e-5,
            "{core} {wire} {}",
            g_m(WindingModel::Helix)
        );
        let wire_m = winding_wire_length_mm(core, wire, 1000.0).unwrap() / 1000.0;
        assert!((wire_m - metres).abs() < 5.1e-4, "{core} {wire} {wire_m}");
        // The trade's factor of copper on steel (common practice, no source): μ/μ_core = 1 + k·((D/d)² − 1).
        let k = (g_m(WindingModel::Tube) / core_g_m - 1.0) / ((outer / core).powi(2) - 1.0);
        assert!((0.89..=0.90).contains(&k), "{k}");
    }
}

/// 1.40 core, 0.60 and 1.20 copper: 139.0 g/m (tube), computed apart from this code.
#[test]
fn double_winding() {
    let copper = |wire_diameter_mm| Layer { wire_diameter_mm, density_kg_m3: COPPER_KG_M3 };
    let core_g_m = plain_g_m(1.40, STEEL_KG_M3);
    let layers = [copper(0.60), copper(1.20)];
    let g_m = wound_density_g_m(WindingModel::Tube, CrossSection::Round, 1.40, core_g_m, &layers).unwrap();
    assert!((g_m - 139.0).abs() < 0.05, "{g_m}");
}

/// Hexagon of width s across flats: area 0.866025·s² (1.10266 × round), I = (5√3/144)·s⁴ (1.22518 × round);
/// mean turn of a winding 2·√3·s + π·w.
#[test]
fn hexagonal_core() {
    let (hex, round) = (CrossSection::Hexagonal, CrossSection::Round);
    let s: f64 = 1.3;
    assert!((hex.area_mm2(s).unwrap() / (s * s) - 0.866_025).abs() < 1e-6);
    assert!((hex.area_mm2(s).unwrap() / round.area_mm2(s).unwrap() - 1.102_66).abs() < 5e-6);
    assert!((hex.second_moment_mm4(s).unwrap() - 5.0 * 3.0_f64.sqrt() / 144.0 * s.powi(4)).abs() < 1e-12);
    assert!(
        (hex.second_moment_mm4(s).unwrap() / round.second_moment_mm4(s).unwrap() - 1.225_18).abs() < 5e-6
    );
    let w = 0.9;
    let turn = winding_wire_length_mm(hex.girth_diameter_mm(s).unwrap(), w, w).unwrap();
    assert!((turn - (2.0 * 3.0_f64.sqrt() * s + PI * w).hypot(w)).abs() < 1e-12);
}

/// J. Chabassier, A. Chaigne, P. Joly, JASA 134, 648 (2013), from memory: L, core, μ/μ_core, T and f.
#[test]
fn models_of_chabassier() {
    let rows = [("D#1", 1.945, 1.48, 5.73, 1781.0, 38.9), ("C2", 1.600, 0.95, 3.55, 865.0, 65.4)];
    for (note, l_m, core, ratio, t, hz) in rows {
        let g_m = ratio * plain_g_m(core, STEEL_KG_M3);
        assert_near(note, frequency_stiffness_free_hz(l_m * 1e3, g_m, t).unwrap(), hz, 0.005);
        assert_near(note, tension_stiffness_free_n(l_m * 1e3, g_m, hz).unwrap(), t, 0.01);
    }
}

/// ISO 16 and equal temperament; the figures agree with two general-purpose libraries of musical pitch.
#[test]
fn list_of_pitches() {
    let rows = [
        (1, 27.5000),
        (16, 65.4064),
        (28, 130.8128),
        (40, 261.6256),
        (49, 440.0),
        (52, 523.2511),
        (64, 1046.5023),
        (76, 2093.0045),
        (88, 4186.0090),
    ];
    for (note, hz) in rows {
        let found = equal_tempered_hz(note, 440.0, 0.0).unwrap();
        assert!((found - hz).abs() < 5.1e-5, "{note}: {found}");
    }
}

/// Three turns and a becket across a .282 in pin take 3·π·(D + d) + D: 3.232 in for .031 in wire, 3.345 in
/// for .043 in. A shop note that took .181 in for the radius of that pin prints 3.98 and 4.10: a mistake not
/// to be repeated.
#[test]
fn turns_on_a_tuning_pin() {
    let pin = 0.282;
    for (wire, inches, mistaken) in [(0.031, 3.232, 3.98), (0.043, 3.345, 4.10)] {
        let becket = pin * INCH_MM;
        let found = pin_take_up_mm(3.0, pin * INCH_MM, wire * INCH_MM, becket).unwrap() / INCH_MM;
        // The published figure is of closed rings. The coil also rises by a wire diameter each turn, which
        // adds about 3·d²/(2·π·(D + d)): 0.0015 and 0.0027 in.
        let rise = 3.0 * wire * wire / (2.0 * PI * (pin + wire));
        assert!((found - rise - inches).abs() < 5.1e-4, "{found}");
        assert!((found - mistaken).abs() > 0.7, "{found}");
        // That is where the mistake comes from.
        let wrong = pin_take_up_mm(3.0, 2.0 * 0.181 * INCH_MM, wire * INCH_MM, becket).unwrap() / INCH_MM;
        assert!((wrong - mistaken).abs() < 0.01, "{wrong}");
    }
}

/// Cut about 75 to 80 mm beyond a 2/0 pin for three turns (common practice, no source); the turns alone, and
/// with the wire's end in the eye, must lie about it.
#[test]
fn rule_of_thumb_for_three_turns() {
    let turns = pin_take_up_mm(3.0, 7.16, 0.9, 0.0).unwrap();
    let with_end = pin_take_up_mm(3.0, 7.16, 0.9, 7.16).unwrap();
    assert!((70.0..=80.0).contains(&turns) && (80.0..=85.0).contains(&with_end), "{turns} {with_end}");
}

/// 1.0 mm wire at 700 N and 200 GPa: T/(E·A) is 0.45 %, 4.5 mm in a metre (computed apart from this code).
#[test]
fn stretch_of_a_metre() {
    let area_mm2 = CrossSection::Round.area_mm2(1.0).unwrap();
    assert!((elastic_strain(700.0, 200.0, area_mm2).unwrap() - 0.0045).abs() < 5e-5);
    assert!((1000.0 - relaxed_length_mm(1000.0, 700.0, 200.0, area_mm2).unwrap() - 4.5).abs() < 0.1);
}
