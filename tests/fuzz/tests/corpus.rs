//! Every input of the corpus, those that were finds once among them: none may make a target panic.
#![allow(clippy::expect_used, reason = "tests")]

use std::path::Path;

use becket_fuzz::TARGETS;

#[test]
fn no_input_of_the_corpus_is_a_find() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus");
    for (name, target) in TARGETS {
        let mut inputs = 0;
        for file in std::fs::read_dir(corpus.join(name)).expect("the target has a folder") {
            let path = file.expect("a file").path();
            // Where a target panics, this is the last line that is told.
            println!("{}", path.display());
            target(&std::fs::read(&path).expect("it can be read"));
            inputs += 1;
        }
        assert!(inputs > 0, "{name} has no inputs");
    }
}
