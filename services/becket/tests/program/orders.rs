//! Winder's orders and pictures, from the command line to files and back.

use crate::serving::{Served, load_shop};

#[test]
fn an_order_is_released_changed_and_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&folder.path().join("data"), &[]);
    load_shop(&served);
    let check = served.ok(&["order", "C27-0107", "C27-0108", "--check"]);
    assert!(check.contains("Not released") && check.contains("Nothing is released."), "{check}");
    let released = served.ok(&["order", "C27-0107", "C27-0108"]);
    assert!(released.contains("W-0001 revision 1 is released."), "{released}");
    assert!(released.contains("C27-0107: concert-270 revision a"), "{released}");
    let again = served.ok(&["order", "C27-0108", "C27-0107"]);
    assert!(again.contains("W-0001 is ordered like this already"), "{again}");

    let json = served.ok(&["--format", "json", "show", "winding-order", "W-0001"]);
    let csv = served.ok(&["--format", "csv", "show", "winding-order", "W-0001"]);
    for (name, text) in [("order.json", &json), ("order.csv", &csv)] {
        let file = folder.path().join(name);
        std::fs::write(&file, text).unwrap();
        let file = file.to_str().unwrap();
        assert_eq!(
            &served.ok(&["--format", "json", "show", "winding-order", "--file", file]),
            &json,
            "{name}"
        );
        assert_eq!(&served.ok(&["--format", "csv", "show", "winding-order", "--file", file]), &csv, "{name}");
    }
    let refused = served.becket(&["order", "C27-0107"]);
    assert_eq!(refused.status.code(), Some(1));
    let told = String::from_utf8(refused.stderr).unwrap();
    assert!(told.contains("STATE_FORBIDS") && told.contains("order_id: W-0001"), "{told}");
    let list = served.ok(&["list", "winding-orders", "--serial", "C27-0108"]);
    assert!(list.contains("W-0001") && list.contains("C27-0107 C27-0108"), "{list}");
    served.terminate();
}

#[test]
fn sets_are_drawn_into_files() {
    let folder = tempfile::tempdir().unwrap();
    let served = Served::start(&folder.path().join("data"), &[]);
    load_shop(&served);
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    served.ok(&["plot", "C27-0107", "--with", "small-160/a", "--out", &path("both.svg")]);
    let svg = std::fs::read_to_string(path("both.svg")).unwrap();
    for part in
        ["C27-0107: concert-270 revision a", "small-160 revision a", "strength: ASTM A228 minimum", "C4 (40)"]
    {
        assert!(svg.contains(part), "{part} is not in the picture");
    }
    served.ok(&["plot", "--model", "small-160", "--revision", "a", "--out", &path("one.png")]);
    assert!(std::fs::read(path("one.png")).unwrap().starts_with(b"\x89PNG\r\n\x1a\n"));
    let refused = served.becket(&["plot", "C27-0107", "--out", &path("one.pdf")]);
    assert_eq!(refused.status.code(), Some(2));
    served.terminate();
}
