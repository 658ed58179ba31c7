//! Wires of the catalogue.

use std::collections::BTreeMap;

use becket_api::stringing::{Material, SizeSeries, StrengthBasis, Wire, strength_basis::Basis};
use becket_units::{INCH_MM, UnitSystem};

use super::{
    Measures, Sheet, left,
    names::{time, word},
    right,
};

/// Names of wires for the person at the bench; a wire that is not known here is called by its id.
#[derive(Debug, Clone, Default)]
pub(crate) struct WireNames(BTreeMap<String, String>);

impl WireNames {
    /// Takes names from the catalogue.
    pub(crate) fn new(wires: &[Wire], units: UnitSystem) -> Self {
        Self(wires.iter().map(|wire| (wire.wire_id.clone(), bench_name(wire, units))).collect())
    }

    /// The name of a wire, such as `wire No. 16, .037 in`.
    pub(crate) fn of(&self, wire_id: &str) -> String {
        self.0.get(wire_id).cloned().unwrap_or_else(|| format!("wire {wire_id}"))
    }
}

fn bench_name(wire: &Wire, units: UnitSystem) -> String {
    let number = wire.size.as_ref().map(|size| format!("wire No. {}", size_number(size.number)));
    let name = number.unwrap_or_else(|| format!("wire {}", wire.wire_id));
    // A size of the inch series is known by its thousandths whatever the shop measures in.
    let inch_series = wire.size.as_ref().is_some_and(|size| size.series == i32::from(SizeSeries::Inch));
    let thousandths = format!("{:.3}", wire.diameter_mm / INCH_MM);
    let thousandths = format!("{} in", thousandths.trim_start_matches('0'));
    match (inch_series, units) {
        (true, UnitSystem::Metric) => format!("{name}, {thousandths} = {}", units.diameter(wire.diameter_mm)),
        (true, UnitSystem::Inch) => format!("{name}, {thousandths}"),
        (false, _) => format!("{name}, {}", units.diameter(wire.diameter_mm)),
    }
}

/// `13` or `13½`.
fn size_number(number: f64) -> String {
    if (number.fract() - 0.5).abs() < 1e-9 { format!("{}½", number.trunc()) } else { number.to_string() }
}

/// One row for each wire.
pub(crate) fn wire_sheet(wires: &[Wire], units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let diameter_unit = measures.length_unit();
    let columns = [
        left("wire"),
        left("size"),
        right("diameter", diameter_unit),
        left("material"),
        left("strength basis"),
        left("packs"),
        left("title"),
    ];
    let rows = wires.iter().map(|wire| {
        vec![
            wire.wire_id.clone(),
            size(wire),
            measures.diameter(wire.diameter_mm),
            material(wire),
            wire.strength.as_ref().map(|basis| basis.label.clone()).unwrap_or_default(),
            wire.packs.iter().map(|pack| pack.label.as_str()).collect::<Vec<_>>().join(", "),
            wire.title.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

/// One wire in full.
pub(crate) fn wire_text(wire: &Wire, units: UnitSystem) -> String {
    let measures = Measures(units);
    let mut lines = vec![
        format!("{}  {}", wire.wire_id, wire.title),
        format!("  material      {}", material(wire)),
        format!("  diameter      {}", units.diameter(wire.diameter_mm)),
    ];
    if wire.size.is_some() {
        lines.push(format!("  size          {}", size(wire)));
    }
    lines.push(format!("  density       {} kg/m³", wire.density_kg_m3));
    lines.push(format!("  Young's mod.  {} GPa", wire.youngs_modulus_gpa));
    if let Some(basis) = &wire.strength {
        lines.push(format!("  strength      {}: {}", basis.label, strength(basis, measures)));
    }
    for pack in &wire.packs {
        lines.push(format!("  pack          {} ({})", pack.label, units.mass(pack.mass_g)));
    }
    lines.push(format!("  changed       {}  etag {}", time(wire.update_time.as_ref()), wire.etag));
    lines.join("\n") + "\n"
}

fn strength(basis: &StrengthBasis, measures: Measures) -> String {
    let unit = measures.stress_unit();
    match &basis.basis {
        Some(Basis::Table(table)) => format!("table of {} diameters", table.points.len()),
        Some(Basis::PowerLaw(law)) => format!("{} MPa·mm^m / d^m, m = {}", law.a_mpa, law.m),
        Some(Basis::Stated(stated)) => format!("{} {unit}", measures.stress(stated.tensile_mpa)),
        None => "not known".to_owned(),
    }
}

fn material(wire: &Wire) -> String {
    word(wire.material, Material::as_str_name, "MATERIAL_")
}

fn size(wire: &Wire) -> String {
    let Some(size) = &wire.size else { return String::new() };
    let series = word(size.series, SizeSeries::as_str_name, "SIZE_SERIES_");
    format!("No. {} {series}", size_number(size.number))
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{Pack, SizeNumber, StrengthStated};
    use expect_test::expect;

    use super::*;

    fn wires() -> Vec<Wire> {
        let steel = Wire {
            wire_id: "mw-in-16.5".into(),
            title: "Music wire 16½".into(),
            material: Material::SteelRound.into(),
            diameter_mm: 0.9652,
            size: Some(SizeNumber { series: SizeSeries::Inch.into(), number: 16.5 }),
            density_kg_m3: 7850.0,
            youngs_modulus_gpa: 206.0,
            strength: Some(StrengthBasis {
                label: "stated".into(),
                basis: Some(Basis::Stated(StrengthStated { tensile_mpa: 2200.0 })),
            }),
            packs: vec![Pack { label: "1 lb coil".into(), mass_g: 453.6 }],
            ..Wire::default()
        };
        let copper = Wire {
            wire_id: "cu-0.50".into(),
            title: "Copper 0.50".into(),
            material: Material::Copper.into(),
            diameter_mm: 0.5,
            ..Wire::default()
        };
        vec![steel, copper]
    }

    #[test]
    fn the_catalogue_is_a_table() {
        expect![[r#"
             wire         size           diameter   material      strength basis   packs       title
                                               mm
            ──────────────────────────────────────────────────────────────────────────────────────────────────
             mw-in-16.5   No. 16½ inch      0.965   steel round   stated           1 lb coil   Music wire 16½
             cu-0.50                        0.500   copper                                     Copper 0.50
        "#]]
        .assert_eq(&wire_sheet(&wires(), UnitSystem::Metric).table());
        expect![[r#"
            wire,size,diameter_in,material,strength_basis,packs,title
            mw-in-16.5,No. 16½ inch,0.0380,steel round,stated,1 lb coil,Music wire 16½
            cu-0.50,,0.0197,copper,,,Copper 0.50
        "#]]
        .assert_eq(&wire_sheet(&wires(), UnitSystem::Inch).csv());
        expect![[r#"
            mw-in-16.5  Music wire 16½
              material      steel round
              diameter      0.0380 in
              size          No. 16½ inch
              density       7850 kg/m³
              Young's mod.  206 GPa
              strength      stated: 319.1 ksi
              pack          1 lb coil (1.000 lb)
              changed         etag 
        "#]]
        .assert_eq(&wire_text(&wires()[0], UnitSystem::Inch));
    }

    #[test]
    fn the_bench_calls_wire_by_its_number() {
        let names = WireNames::new(&wires(), UnitSystem::Metric);
        assert_eq!(names.of("mw-in-16.5"), "wire No. 16½, .038 in = 0.965 mm");
        assert_eq!(names.of("cu-0.50"), "wire cu-0.50, 0.500 mm");
        assert_eq!(names.of("unheard"), "wire unheard");
        assert_eq!(WireNames::new(&wires(), UnitSystem::Inch).of("mw-in-16.5"), "wire No. 16½, .038 in");
    }
}
