//! Work sheets, pictures of lists, and plans of files, from the command line.

use crate::serving::{Served, load_shop};

#[test]
fn a_stringer_sees_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&folder.path().join("data"), &[]);
    load_shop(&served);
    let planned =
        served.ok(&["plan", "bench-1", "C27-0107", "--levels", "reel-changes,scrap,coils-opened,lots"]);
    assert!(planned.contains("reel changes") && planned.contains("proven"), "{planned}");
    let shown = served.ok(&["show", "cut-list", "L-0001"]);
    let levels: Vec<&str> = ["reel changes", "scrap  ", "coils opened", "lots  "]
        .into_iter()
        .filter(|level| shown.contains(level))
        .collect();
    assert_eq!(levels.len(), 4, "{shown}");
    // The order of the levels is kept with the list.
    assert!(shown.find(" reel changes ").unwrap() < shown.find(" scrap  ").unwrap(), "{shown}");

    served.ok(&["start", "L-0001"]);
    let sheet = served.ok(&["show", "work-sheet", "L-0001"]);
    for part in [
        "Mount coil",
        "Square the end: cut off 10.0 mm",
        "lay in tray 1 for C27-0107",
        "g of wire",
        "Label it",
        "Tray 1 is complete: hand it on",
        "becket run-out L-0001 STEP",
    ] {
        assert!(sheet.contains(part), "{part}: {sheet}");
    }
    assert!(sheet.contains("! Eye protection"), "{sheet}");
    let all = served.ok(&["--format", "csv", "show", "work-sheet", "L-0001"]);
    served.ok(&["confirm", "L-0001", "1", "--count", "3"]);
    let pending = served.ok(&["--format", "csv", "show", "work-sheet", "L-0001", "--pending"]);
    assert!(pending.lines().count() < all.lines().count());

    let ascii = served.ok(&["picture", "L-0001"]);
    assert!(ascii.contains("  AAA  C27-0107") && ascii.contains("reel 1"), "{ascii}");
    assert!(ascii.is_ascii() || !ascii.contains('\u{1b}'), "no colours where there is no terminal");
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    served.ok(&["picture", "L-0001", "--out", &path("list.svg")]);
    let svg = std::fs::read_to_string(path("list.svg")).unwrap();
    assert!(svg.contains("C27-0107") && svg.contains("Reels, step by step"));
    served.ok(&["picture", "L-0001", "--out", &path("list.png")]);
    assert!(std::fs::read(path("list.png")).unwrap().starts_with(b"\x89PNG\r\n\x1a\n"));
    assert_eq!(served.becket(&["picture", "L-0001", "--out", &path("list.pdf")]).status.code(), Some(2));
    assert_eq!(
        served.becket(&["plan", "bench-1", "--levels", "scrap,scrap,lots,reel-changes"]).status.code(),
        Some(1)
    );
    served.terminate();
}

#[test]
fn a_file_is_planned_without_a_stock() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&folder.path().join("data"), &[]);
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/plan.toml");
    let planned = served.ok(&["plan-file", demo, "--steps", "--picture"]);
    for part in ["39 pieces", "nothing is stored", "pieces uncut", "K-17-old", "AAA  G-301"] {
        assert!(planned.contains(part), "{part}: {planned}");
    }
    assert_eq!(served.ok(&["list", "coils"]).matches("K-17").count(), 0, "nothing is stored");

    // A piece that no coil can give is told, and the exit code says that the plan is short.
    let short = folder.path().join("short.toml");
    std::fs::write(&short, std::fs::read_to_string(demo).unwrap().replace("1_905_000", "90_000_000"))
        .unwrap();
    let answer = served.becket(&["plan-file", short.to_str().unwrap()]);
    let told = String::from_utf8(answer.stdout).unwrap();
    assert_eq!(answer.status.code(), Some(4), "{told}");
    assert!(told.contains("longer than every coil"), "{told}");

    let faulty = folder.path().join("faulty.toml");
    std::fs::write(&faulty, std::fs::read_to_string(demo).unwrap().replace("1_204_000", "-1")).unwrap();
    let refused = served.becket(&["plan-file", faulty.to_str().unwrap()]);
    let told = String::from_utf8(refused.stderr).unwrap();
    assert_eq!(refused.status.code(), Some(1), "{told}");
    for field in ["serials[0].pieces[2].length_um", "serials[1].pieces[2].length_um"] {
        assert!(told.contains(field), "{field}: {told}");
    }
    served.terminate();
}
