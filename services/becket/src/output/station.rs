//! Wire stations.

use becket_api::cutting::Station;
use becket_units::UnitSystem;

use super::{Sheet, left, right};

/// One row for each station.
pub(crate) fn station_sheet(stations: &[Station], _units: UnitSystem) -> Sheet {
    let columns =
        [left("station"), right("reel positions", ""), right("trays", ""), left("mounted"), left("title")];
    let rows = stations.iter().map(|station| {
        vec![
            station.station_id.clone(),
            station.reel_positions.to_string(),
            station.trays.to_string(),
            station
                .mounted
                .iter()
                .map(|reel| format!("{}: {}", reel.reel_position, reel.coil_id))
                .collect::<Vec<_>>()
                .join(", "),
            station.title.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

/// A station and what is on each of its reel positions.
pub(crate) fn station_text(station: &Station, _units: UnitSystem) -> String {
    let mut text = format!(
        "{}: {}\n  {} reel positions, {} trays; etag {}\n",
        station.station_id, station.title, station.reel_positions, station.trays, station.etag
    );
    for position in 1..=station.reel_positions {
        let coil = station.mounted.iter().find(|reel| reel.reel_position == position);
        text += &format!("  reel {position}    {}\n", coil.map_or("empty", |reel| &reel.coil_id));
    }
    text
}

#[cfg(test)]
mod tests {
    use becket_api::cutting::MountedReel;
    use expect_test::expect;

    use super::*;

    #[test]
    fn a_station_shows_its_reels() {
        let station = Station {
            station_id: "bench-1".into(),
            title: "Wire bench".into(),
            reel_positions: 2,
            trays: 4,
            mounted: vec![MountedReel { reel_position: 2, coil_id: "R0101".into() }],
            etag: "1".into(),
            ..Station::default()
        };
        expect![[r#"
            bench-1: Wire bench
              2 reel positions, 4 trays; etag 1
              reel 1    empty
              reel 2    R0101
        "#]]
        .assert_eq(&station_text(&station, UnitSystem::Metric));
        expect![[r#"
             station   reel positions   trays   mounted    title
            ──────────────────────────────────────────────────────────
             bench-1                2       4   2: R0101   Wire bench
        "#]]
        .assert_eq(&station_sheet(&[station], UnitSystem::Metric).table());
    }
}
