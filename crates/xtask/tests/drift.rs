//! The generated code that is checked in is what the proto files say.

use xtask::codegen::{
    CodegenError, Files, drifted, generated_folder, read_files, repository_root, run, write_files,
};

#[test]
fn checked_in_code_matches_the_protos() -> Result<(), CodegenError> {
    run(&repository_root(), true)
}

#[test]
fn a_changed_missing_or_superfluous_file_is_drift() -> Result<(), CodegenError> {
    let checked_in = read_files(&generated_folder(&repository_root()))?;
    assert!(checked_in.len() > 4, "four packages and the descriptors");

    let mut changed = checked_in.clone();
    if let Some(content) = changed.get_mut("becket.stringing.v1.rs") {
        content.push(b'\n');
    }
    changed.remove("becket.errors.v1.rs");
    changed.insert("becket.old.v1.rs".to_owned(), Vec::new());
    let expected = ["becket.errors.v1.rs", "becket.old.v1.rs", "becket.stringing.v1.rs"];
    assert_eq!(drifted(&checked_in, &changed), expected);
    Ok(())
}

#[test]
fn writing_makes_a_folder_equal() -> Result<(), Box<dyn std::error::Error>> {
    let folder = tempfile::tempdir()?;
    std::fs::write(folder.path().join("stale.rs"), "old")?;
    let files = Files::from([("a.rs".to_owned(), b"new".to_vec())]);
    write_files(folder.path(), &files)?;
    assert_eq!(read_files(folder.path())?, files);
    Ok(())
}
