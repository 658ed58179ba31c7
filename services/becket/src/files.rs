//! Files that people write, read into the API's messages.

use std::path::Path;

use becket_api::{
    cutting::{NewCoil, ScheduleLine, Station},
    document::{self, CoilsDocument, DocumentError, Format},
    stringing::{Job, Scale, WindingOrder, Wire},
};

use prost::{Message, Name};

use crate::errors::Failure;

/// Reads wires from `[[wires]]`, or from csv.
///
/// # Errors
/// [`Failure::File`] with every fault of the file.
pub(crate) fn wires(path: &Path) -> Result<Vec<Wire>, Failure> {
    read(path, |text, kind| match kind {
        Kind::Csv => document::wires_from_csv(text),
        Kind::Document(format) => document::parse_list(text, format, "wires"),
    })
}

/// Reads coils and stock rules from `[[coils]]` and `[[stock_rules]]`, or coils from csv.
///
/// # Errors
/// As [`wires`].
pub(crate) fn coils(path: &Path) -> Result<CoilsDocument, Failure> {
    let from_csv = |coils: Vec<NewCoil>| CoilsDocument { coils, stock_rules: Vec::new() };
    read(path, |text, kind| match kind {
        Kind::Csv => document::coils_from_csv(text).map(from_csv),
        Kind::Document(format) => document::parse_coils(text, format),
    })
}

/// Reads a scale.
///
/// # Errors
/// As [`wires`].
pub(crate) fn scale(path: &Path) -> Result<Scale, Failure> {
    read_document(path, document::parse)
}

/// Reads a station.
///
/// # Errors
/// As [`wires`].
pub(crate) fn station(path: &Path) -> Result<Station, Failure> {
    read_document(path, document::parse)
}

/// Reads jobs from `[[jobs]]`.
///
/// # Errors
/// As [`wires`].
pub(crate) fn jobs(path: &Path) -> Result<Vec<Job>, Failure> {
    read_document(path, |text, format| document::parse_list(text, format, "jobs"))
}

/// Reads a schedule from `[[lines]]`.
///
/// # Errors
/// As [`wires`].
pub(crate) fn schedule(path: &Path) -> Result<Vec<ScheduleLine>, Failure> {
    read_document(path, |text, format| document::parse_list(text, format, "lines"))
}

/// Reads a winder's order from protobuf JSON or csv, as the program prints them.
///
/// # Errors
/// As [`wires`].
pub(crate) fn winding_order(path: &Path) -> Result<WindingOrder, Failure> {
    let text = || std::fs::read_to_string(path).map_err(|error| faulty(path, error.to_string()));
    match kind(path)? {
        Kind::Csv => {
            document::winding_order_from_csv(&text()?).map_err(|error| faulty(path, error.to_string()))
        }
        Kind::Document(Format::Json) => {
            let json = serde_json::from_str(&text()?).map_err(|error| faulty(path, error.to_string()))?;
            becket_api::json::from_json(&json).map_err(|error| faulty(path, error.to_string()))
        }
        Kind::Document(Format::Toml) => Err(faulty(path, "an order is read from .json or .csv".to_owned())),
    }
}

/// Reads the question of a design.
///
/// # Errors
/// As [`wires`].
pub(crate) fn question<M: Message + Name + Default>(path: &Path) -> Result<M, Failure> {
    read_document(path, document::parse)
}

/// Writes a scale, so that it can be looked at and loaded.
///
/// # Errors
/// [`Failure::File`] if it cannot be written.
pub(crate) fn write_scale(path: &Path, scale: &Scale) -> Result<(), Failure> {
    let text = document::to_toml(scale).map_err(|error| faulty(path, error.to_string()))?;
    std::fs::write(path, text).map_err(|error| faulty(path, error.to_string()))
}

enum Kind {
    Csv,
    Document(Format),
}

fn read_document<T>(
    path: &Path,
    parse: impl Fn(&str, Format) -> Result<T, DocumentError>,
) -> Result<T, Failure> {
    match kind(path)? {
        Kind::Document(format) => read(path, |text, _| parse(text, format)),
        Kind::Csv => {
            Err(faulty(path, "is read from .toml or .json; csv has only wires and coils".to_owned()))
        }
    }
}

fn read<T>(path: &Path, parse: impl Fn(&str, Kind) -> Result<T, DocumentError>) -> Result<T, Failure> {
    let kind = kind(path)?;
    let text = std::fs::read_to_string(path).map_err(|error| faulty(path, error.to_string()))?;
    parse(&text, kind).map_err(|error| faulty(path, error.to_string()))
}

fn kind(path: &Path) -> Result<Kind, Failure> {
    match path.extension().and_then(|extension| extension.to_str()) {
        Some("toml") => Ok(Kind::Document(Format::Toml)),
        Some("json") => Ok(Kind::Document(Format::Json)),
        Some("csv") => Ok(Kind::Csv),
        _ => Err(faulty(path, "must end in .toml, .json or .csv, which tells how it is read".to_owned())),
    }
}

fn faulty(path: &Path, why: String) -> Failure {
    Failure::File { path: path.to_owned(), why }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::errors::EXIT_USAGE;

    fn file(name: &str, text: &str) -> (tempfile::TempDir, std::path::PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        (folder, path)
    }

    #[test]
    fn the_ending_tells_how_a_file_is_read() {
        let (_toml, path) = file("bench.toml", "station_id = \"bench-1\"\nreel_positions = 4\ntrays = 4\n");
        assert_eq!(station(&path).unwrap().reel_positions, 4);
        let (_json, path) =
            file("bench.json", r#"{"station_id": "bench-1", "reel_positions": 4, "trays": 4}"#);
        assert_eq!(station(&path).unwrap().trays, 4);
        let (_csv, path) = file(
            "coils.csv",
            "coil_id,wire_id,lot_id,received_date,received_mass_g\nR1,mw-in-16,H1,2026-02-03,453.6\n",
        );
        assert_eq!(coils(&path).unwrap().coils.len(), 1);
    }

    #[test]
    fn files_that_cannot_be_read_are_named() {
        let (_folder, path) = file("bench.toml", "station_id = \"bench-1\"\nreels = 4\n");
        let failure = station(&path).unwrap_err();
        assert_eq!(failure.exit_code(), EXIT_USAGE);
        let text = failure.to_string();
        assert!(text.contains("bench.toml") && text.contains("reels"), "{text}");
        assert!(station(Path::new("no-such-file.toml")).is_err());
        assert!(station(Path::new("bench.xls")).unwrap_err().to_string().contains(".toml"));
        assert!(jobs(Path::new("jobs.csv")).unwrap_err().to_string().contains("only wires and coils"));
    }
}
