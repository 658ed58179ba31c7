//! Generates the code of `becket-api` from `proto/`, and tells when the code that is checked in has drifted from it.
//!
//! The generated files are checked in, so that a build needs neither a protobuf compiler nor a build script, and a
//! change of the API shows in review as the change of the types that it is.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Name of the file with the encoded `FileDescriptorSet`.
pub const DESCRIPTORS: &str = "descriptors.bin";

/// Generated files by name.
pub type Files = BTreeMap<String, Vec<u8>>;

/// Why code could not be generated or compared.
#[derive(Debug, thiserror::Error)]
pub enum CodegenError {
    /// A file could not be read or written.
    #[error("{path}: {source}")]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What went wrong.
        source: io::Error,
    },
    /// A proto file is faulty.
    #[error("the proto files do not compile: {0}")]
    Proto(#[from] protox::Error),
    /// The descriptors that were just written could not be read back.
    #[error("the descriptors cannot be read back: {0}")]
    Descriptors(#[from] prost::DecodeError),
    /// The checked-in files differ from what the proto files say.
    #[error("generated code has drifted ({}); run `cargo xtask codegen`", .0.join(", "))]
    Drift(Vec<String>),
}

fn at(path: &Path) -> impl FnOnce(io::Error) -> CodegenError {
    let path = path.to_owned();
    move |source| CodegenError::Io { path, source }
}

/// The root of the repository.
#[must_use]
pub fn repository_root() -> PathBuf {
    // The manifest lies in crates/xtask.
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The folder of the generated files within the repository.
#[must_use]
pub fn generated_folder(root: &Path) -> PathBuf {
    root.join("crates/api/src/gen")
}

/// All proto files below `folder`, sorted, so that the output does not hang on the order of the file system.
///
/// # Errors
/// [`CodegenError::Io`] if a folder cannot be read.
pub fn proto_files(folder: &Path) -> Result<Vec<PathBuf>, CodegenError> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_owned()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(&folder).map_err(at(&folder))? {
            let path = entry.map_err(at(&folder))?.path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|ext| ext == "proto") {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

/// Generates everything into `scratch`, a folder that exists and is empty, and returns the files.
///
/// # Errors
/// [`CodegenError::Proto`] if a proto file is faulty, [`CodegenError::Io`] if a file cannot be read or written.
pub fn generate(root: &Path, scratch: &Path) -> Result<Files, CodegenError> {
    let protos = root.join("proto");
    let mut compiler = protox::Compiler::new([&protos])?;
    // Comments travel in the descriptors: reflection clients and generated documents show them.
    compiler.include_source_info(true).include_imports(true).open_files(proto_files(&protos)?)?;
    let descriptors = compiler.encode_file_descriptor_set();

    let mut config = tonic_prost_build::Config::new();
    config.enable_type_names();
    let set = prost::Message::decode(descriptors.as_slice())?;
    tonic_prost_build::configure()
        .build_client(true)
        .build_server(true)
        .out_dir(scratch)
        .emit_rerun_if_changed(false)
        .compile_fds_with_config(set, config)
        .map_err(at(scratch))?;

    let mut files = read_files(scratch)?;
    // The well-known types come from prost-types; an empty file for their package says nothing.
    files.retain(|name, _| name.starts_with("becket."));
    files.insert(DESCRIPTORS.to_owned(), descriptors);
    Ok(files)
}

/// Reads all files of a folder.
///
/// # Errors
/// [`CodegenError::Io`] if one cannot be read.
pub fn read_files(folder: &Path) -> Result<Files, CodegenError> {
    let mut files = Files::new();
    for entry in fs::read_dir(folder).map_err(at(folder))? {
        let entry = entry.map_err(at(folder))?;
        let content = fs::read(entry.path()).map_err(at(&entry.path()))?;
        files.insert(entry.file_name().to_string_lossy().into_owned(), content);
    }
    Ok(files)
}

/// Names of the files that are missing, superfluous or different.
#[must_use]
pub fn drifted(checked_in: &Files, generated: &Files) -> Vec<String> {
    let mut names: Vec<String> = checked_in.keys().chain(generated.keys()).cloned().collect();
    names.sort();
    names.dedup();
    names.retain(|name| checked_in.get(name) != generated.get(name));
    names
}

/// Replaces the content of `folder` by `files`; files that are the same are left alone, so that builds stay fresh.
///
/// # Errors
/// [`CodegenError::Io`] if a file cannot be written or removed.
pub fn write_files(folder: &Path, files: &Files) -> Result<(), CodegenError> {
    fs::create_dir_all(folder).map_err(at(folder))?;
    for name in drifted(&read_files(folder)?, files) {
        let path = folder.join(&name);
        match files.get(&name) {
            Some(content) => fs::write(&path, content).map_err(at(&path))?,
            None => fs::remove_file(&path).map_err(at(&path))?,
        }
    }
    Ok(())
}

/// Generates and writes, or with `check` compares with what is checked in.
///
/// # Errors
/// Those of [`generate`]; with `check` also [`CodegenError::Drift`].
pub fn run(root: &Path, check: bool) -> Result<(), CodegenError> {
    let scratch = tempfile::tempdir().map_err(at(Path::new("temporary folder")))?;
    let generated = generate(root, scratch.path())?;
    let folder = generated_folder(root);
    if !check {
        return write_files(&folder, &generated);
    }
    let names = drifted(&read_files(&folder)?, &generated);
    if names.is_empty() { Ok(()) } else { Err(CodegenError::Drift(names)) }
}
