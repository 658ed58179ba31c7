//! Every command of the pages in `docs` is run as it stands there, on a shop of the tour.
//!
//! A page is a file `docs/*.md`. In its fenced blocks of the kind `console`, lines that begin with `$ ` are commands; other
//! lines are what they print, which is not compared. A line may redirect into a file, and may end in `# exit 1` where it is
//! meant to be refused. A block of the kind `toml` whose first line is `# file: NAME` is written to that file. Commands run
//! in a folder that holds what `becket tour` leaves in `becket-tour`, with its server running; each page has its own.

use std::path::{Path, PathBuf};
use std::process::Command;

use becket_e2e::Server;

use crate::binary;

/// A piece of a page.
#[derive(Debug, PartialEq)]
enum Part {
    Command { line: usize, words: Vec<String>, into: Option<String>, exit: i32 },
    File { name: String, text: String },
}

/// Words of a command line: parted by spaces, quotes of either kind hold together.
fn words(text: &str) -> Vec<String> {
    let (mut words, mut word, mut quote) = (Vec::new(), None::<String>, None);
    for letter in text.chars() {
        match (letter, quote) {
            ('\'' | '"', None) => {
                quote = Some(letter);
                word.get_or_insert_default();
            }
            (_, Some(open)) if letter == open => quote = None,
            (' ', None) => words.extend(word.take()),
            _ => word.get_or_insert_default().push(letter),
        }
    }
    words.extend(word);
    words
}

fn command(line: usize, text: &str) -> Part {
    let (text, comment) = text.split_once(" #").unwrap_or((text, ""));
    let exit = comment.trim().strip_prefix("exit ").map_or(0, |code| code.trim().parse().unwrap());
    let (text, into) = match text.split_once('>') {
        Some((text, file)) => (text, Some(file.trim().to_owned())),
        None => (text, None),
    };
    Part::Command { line, words: words(text.trim()), into, exit }
}

fn parts(page: &str) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut block: Option<(&str, Vec<&str>)> = None;
    for (at, line) in page.lines().enumerate() {
        match (&mut block, line.strip_prefix("```")) {
            (None, Some(kind)) => block = Some((kind.trim(), Vec::new())),
            (Some((kind, lines)), Some(_)) => {
                let name = lines.first().and_then(|first| first.strip_prefix("# file: "));
                if let ("toml", Some(name)) = (*kind, name) {
                    parts.push(Part::File { name: name.to_owned(), text: lines.join("\n") });
                }
                block = None;
            }
            (Some((kind, lines)), None) => {
                if *kind == "console"
                    && let Some(text) = line.strip_prefix("$ ")
                {
                    parts.push(command(at + 1, text));
                }
                lines.push(line);
            }
            (None, None) => {}
        }
    }
    parts
}

fn pages() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs");
    let files = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut pages: Vec<_> =
        files.filter(|path| path.extension().is_some_and(|ending| ending == "md")).collect();
    pages.sort();
    pages
}

/// Runs a page; what went wrong, command by command.
fn run(page: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(page).unwrap();
    let name = page.file_name().unwrap().to_str().unwrap();
    let parts = parts(&text);
    if parts.is_empty() {
        return Vec::new();
    }
    let folder = tempfile::tempdir().unwrap();
    let here = folder.path();
    let tour =
        Command::new(binary()).args(["tour", "--data", "becket-tour"]).current_dir(here).output().unwrap();
    assert!(tour.status.success(), "{}", String::from_utf8_lossy(&tour.stderr));
    let server = Server::start(binary(), &here.join("becket-tour"));
    let mut faults = Vec::new();
    for part in parts {
        let (line, words, into, exit) = match part {
            Part::File { name, text } => {
                std::fs::write(here.join(name), text).unwrap();
                continue;
            }
            Part::Command { line, words, into, exit } => (line, words, into, exit),
        };
        let shown = words.join(" ");
        let Some((program, arguments)) = words.split_first() else { continue };
        if program != "becket" {
            faults.push(format!("{name}:{line}: {shown}: a console block holds becket's commands only"));
            continue;
        }
        // The server runs already, and the tour has been given.
        if arguments.first().is_some_and(|verb| verb == "serve" || verb == "tour") {
            continue;
        }
        let mut process = Command::new(binary());
        process.args(arguments).current_dir(here).env("BECKET_SERVER", server.url());
        let output = process.output().unwrap();
        if output.status.code() != Some(exit) {
            let err = String::from_utf8_lossy(&output.stderr).into_owned();
            faults.push(format!(
                "{name}:{line}: {shown}: exit {:?} and not {exit}: {err}",
                output.status.code()
            ));
        } else if let Some(into) = into {
            std::fs::write(here.join(into), output.stdout).unwrap();
        }
    }
    faults
}

#[test]
fn every_command_of_the_docs_runs() {
    let pages = pages();
    assert!(pages.iter().any(|page| page.ends_with("engineering.md")), "{pages:?}");
    let faults: Vec<String> = pages.iter().flat_map(|page| run(page)).collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn pages_are_read_as_people_read_them() {
    let page = "Text\n```console\n$ becket show set 'X 1' --a4 \"442\" >set.csv\nwhat it prints\n$ becket load scale bad.toml # exit 1\n```\n\
                ```toml\n# file: a.toml\nb = 1\n```\n```toml\nc = 2\n```\n";
    let words = |text: &str| text.split('|').map(str::to_owned).collect();
    assert_eq!(
        parts(page),
        [
            Part::Command {
                line: 3,
                words: words("becket|show|set|X 1|--a4|442"),
                into: Some("set.csv".to_owned()),
                exit: 0
            },
            Part::Command { line: 5, words: words("becket|load|scale|bad.toml"), into: None, exit: 1 },
            Part::File { name: "a.toml".to_owned(), text: "# file: a.toml\nb = 1".to_owned() },
        ]
    );
}
