//! The data of the tour's invented shop, as they lie in `demo/`.

use std::{fs, path::Path};

use becket_api::{
    cutting::{ScheduleLine, Station},
    document::{self, CoilsDocument, DocumentError, Format},
    stringing::{Job, Scale, Wire},
};

use crate::errors::Failure;

/// Every file of the demo by its path.
pub(crate) const FILES: [(&str, &str); 11] = [
    ("README.md", include_str!("../demo/README.md")),
    ("wires.toml", WIRES),
    ("scales/concert-270.toml", CONCERT),
    ("scales/small-160.toml", SMALL),
    ("station.toml", STATION),
    ("coils.toml", COILS),
    ("jobs.toml", JOBS),
    ("schedule.toml", SCHEDULE),
    ("design-bass.toml", DESIGN_BASS),
    ("design-plain.toml", DESIGN_PLAIN),
    ("plan.toml", PLAN),
];

const WIRES: &str = include_str!("../demo/wires.toml");
const CONCERT: &str = include_str!("../demo/scales/concert-270.toml");
const SMALL: &str = include_str!("../demo/scales/small-160.toml");
const STATION: &str = include_str!("../demo/station.toml");
const COILS: &str = include_str!("../demo/coils.toml");
const JOBS: &str = include_str!("../demo/jobs.toml");
const SCHEDULE: &str = include_str!("../demo/schedule.toml");
const DESIGN_BASS: &str = include_str!("../demo/design-bass.toml");
const PLAN: &str = include_str!("../demo/plan.toml");
const DESIGN_PLAIN: &str = include_str!("../demo/design-plain.toml");

/// The files, read.
#[derive(Debug)]
pub(crate) struct Demo {
    /// Wires beside the music wire that becket ships.
    pub(crate) wires: Vec<Wire>,
    /// Scales of the two models.
    pub(crate) scales: Vec<Scale>,
    /// The wire bench.
    pub(crate) station: Station,
    /// The stock and its rules.
    pub(crate) coils: CoilsDocument,
    /// Jobs that are due.
    pub(crate) jobs: Vec<Job>,
    /// What is to be built in the coming weeks.
    pub(crate) schedule: Vec<ScheduleLine>,
}

impl Demo {
    /// Reads the files that are built in.
    ///
    /// # Errors
    /// [`Failure::Start`] if one is faulty, which a test rules out.
    pub(crate) fn read() -> Result<Self, Failure> {
        Self::parse().map_err(|error| Failure::Start(format!("the data of the tour are faulty: {error}")))
    }

    fn parse() -> Result<Self, DocumentError> {
        Ok(Self {
            wires: document::parse_list(WIRES, Format::Toml, "wires")?,
            scales: vec![document::parse_toml(CONCERT)?, document::parse_toml(SMALL)?],
            station: document::parse_toml(STATION)?,
            coils: document::parse_coils(COILS, Format::Toml)?,
            jobs: document::parse_list(JOBS, Format::Toml, "jobs")?,
            schedule: document::parse_list(SCHEDULE, Format::Toml, "lines")?,
        })
    }
}

/// Writes the files to a folder, so that they can be looked at and loaded elsewhere.
///
/// # Errors
/// [`Failure::File`] for the first that cannot be written.
pub(crate) fn write(folder: &Path) -> Result<(), Failure> {
    for (name, text) in FILES {
        let path = folder.join(name);
        let written = path.parent().map_or(Ok(()), fs::create_dir_all).and_then(|()| fs::write(&path, text));
        written.map_err(|error| Failure::File { path, why: error.to_string() })?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use becket_api::stringing::{DesignBassRequest, DesignPlainWiresRequest};

    use super::*;

    #[test]
    fn the_demo_is_read_and_hangs_together() {
        let demo = Demo::read().unwrap();
        let models: BTreeSet<_> =
            demo.scales.iter().map(|scale| (&scale.model_id, &scale.revision_id)).collect();
        assert_eq!(models.len(), 2);
        for scale in &demo.scales {
            assert_eq!(scale.notes.len(), 88, "{}", scale.model_id);
        }
        assert!(demo.jobs.iter().all(|job| models.contains(&(&job.model_id, &job.revision_id))));
        assert!(demo.jobs.iter().all(|job| job.station_id == demo.station.station_id));
        assert!(demo.schedule.iter().all(|line| models.contains(&(&line.model_id, &line.revision_id))));
        let stocked: BTreeSet<_> = demo.coils.coils.iter().map(|coil| &coil.wire_id).collect();
        let named = demo.scales.iter().flat_map(|scale| &scale.notes).map(|note| &note.wire_id);
        for wire_id in named {
            assert!(stocked.contains(wire_id), "{wire_id} is on no coil");
        }
    }

    #[test]
    fn the_questions_of_design_are_about_the_small_grand() {
        let small = &Demo::read().unwrap().scales[1];
        let bass: DesignBassRequest = document::parse_toml(DESIGN_BASS).unwrap();
        let plain: DesignPlainWiresRequest = document::parse_toml(DESIGN_PLAIN).unwrap();
        let asked = bass.notes.iter().map(|note| (note.note, note.speaking_mm));
        let asked = asked.chain(plain.notes.iter().map(|note| (note.note, note.speaking_mm)));
        for (note, speaking_mm) in asked {
            let row = small.notes.iter().find(|row| row.note == note).unwrap();
            assert_eq!(row.speaking_mm, speaking_mm, "{note}");
        }
        assert_eq!((bass.notes.len(), plain.notes.len()), (20, 62));
    }

    #[test]
    fn the_files_are_written_as_they_are() {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path()).unwrap();
        for (name, text) in FILES {
            assert_eq!(fs::read_to_string(folder.path().join(name)).unwrap(), text, "{name}");
        }
    }
}
