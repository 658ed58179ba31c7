use super::*;

fn load(environment: &[(&str, &str)]) -> Result<Settings, SettingsError> {
    Settings::load(None, environment.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())))
}

fn problems(result: Result<Settings, SettingsError>) -> Vec<(String, String)> {
    match result {
        Err(SettingsError::Wrong(problems)) => problems.into_iter().map(|p| (p.key, p.what)).collect(),
        other => panic!("expected problems, got {other:?}"),
    }
}

#[test]
fn the_defaults_are_allowed() {
    let settings = load(&[]).unwrap();
    assert_eq!(settings.stringing.listen.to_string(), "127.0.0.1:7421");
    assert_eq!(settings.cutting.listen.to_string(), "127.0.0.1:7422");
    assert_eq!(settings.limits.max_request_bytes, 4 * 1024 * 1024);
    assert_eq!(settings.limits.default_deadline, Duration::from_secs(10));
    assert_eq!(settings.telemetry.format, LogFormat::Text);
}

#[test]
fn the_environment_overrides_the_file_and_the_file_the_defaults() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("shop.toml");
    std::fs::write(
        &path,
        "[limits]\nlongest_deadline = \"30s\"\ndefault_deadline = \"5s\"\n[store]\npath = \"shop.db\"\n",
    )
    .unwrap();
    let environment = [
        ("BECKET__LIMITS__LONGEST_DEADLINE".to_owned(), "20s".to_owned()),
        ("BECKET__LIMITS__MAX_CONCURRENT_REQUESTS".to_owned(), "7".to_owned()),
        ("BECKET_ADDRESS".to_owned(), "not a setting".to_owned()),
        ("HOME".to_owned(), "/".to_owned()),
    ];
    let settings = Settings::load(Some(&path), environment).unwrap();
    assert_eq!(settings.limits.longest_deadline, Duration::from_secs(20));
    assert_eq!(settings.limits.default_deadline, Duration::from_secs(5));
    assert_eq!(settings.limits.max_concurrent_requests, 7);
    assert_eq!(settings.store.path, PathBuf::from("shop.db"));
}

#[test]
fn all_problems_are_told_at_once() {
    let found = problems(load(&[
        ("BECKET__LIMITS__LONGEST_DEADLINE", "60"),
        ("BECKET__LIMITS__MAX_REQUEST_BYTES", "4MB"),
        ("BECKET__LIMITS__MAX_COMPUTATIONS", "0"),
        ("BECKET__LIMITS__MAX_SPEED", "1"),
        ("BECKET__STRINGING__LISTEN", "0.0.0.0:7421"),
        ("BECKET__CUTTING__STRINGING_ENDPOINT", "https://127.0.0.1:1"),
        ("BECKET__TELEMETRY__FORMAT", "xml"),
        ("BECKET__TELEMETRY__FILTER", "becket=loudly"),
    ]));
    let mut keys: Vec<&str> = found.iter().map(|(key, _)| key.as_str()).collect();
    keys.sort_unstable();
    assert_eq!(
        keys,
        [
            "cutting.stringing_endpoint",
            "limits.longest_deadline",
            "limits.max_computations",
            "limits.max_request_bytes",
            "limits.max_speed",
            "stringing.listen",
            "telemetry.filter",
            "telemetry.format",
        ]
    );
    let listen = &found.iter().find(|(key, _)| key == "stringing.listen").unwrap().1;
    assert!(listen.contains("loopback") && listen.contains("not encrypted"), "{listen}");
}

#[test]
fn a_default_deadline_beyond_the_longest_is_refused() {
    let found = problems(load(&[("BECKET__LIMITS__LONGEST_DEADLINE", "5s")]));
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].0, "limits.default_deadline");
}

#[test]
fn an_unknown_section_and_a_missing_file_are_refused() {
    let found = problems(load(&[("BECKET__LIMTS__SHUTDOWN_GRACE", "5s")]));
    assert_eq!(found, [("limts.shutdown_grace".to_owned(), "is not a known key".to_owned())]);
    let missing = Settings::load(Some(Path::new("/no/such/file.toml")), []);
    assert!(matches!(missing, Err(SettingsError::Unreadable(_))));
}

#[test]
fn a_problem_says_where_the_value_stands() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("shop.toml");
    std::fs::write(&path, "[limits]\nshutdown_grace = \"soon\"\n").unwrap();
    let text = Settings::load(Some(&path), [("BECKET__STORE__PATH".to_owned(), " ".to_owned())])
        .unwrap_err()
        .to_string();
    assert!(text.contains("limits.shutdown_grace (from ") && text.contains("shop.toml"), "{text}");
    assert!(text.contains("store.path (from the environment)"), "{text}");
}
