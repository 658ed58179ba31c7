//! Bars and reels in characters: coloured blocks for a terminal, plain ASCII for everything else.

use std::fmt::Write as _;

use becket_plot::{CoilBar, CutPicture, Stretch, serial_letter, serial_rgb};
use becket_units::UnitSystem;

use crate::output::Measures;

/// Characters of the longest bar.
const WIDE: u32 = 72;

/// How the picture is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// Colours by ANSI escape sequences, and block characters.
    Colour,
    /// Letters and ASCII only.
    Ascii,
}

/// What stands in a cell.
#[derive(Clone, Copy, PartialEq)]
enum Cell {
    Blank,
    Mounted,
    Of(Stretch),
}

/// The picture as text.
pub(crate) fn picture_text(picture: &CutPicture, look: Look, units: UnitSystem) -> String {
    let measures = Measures(units);
    let mut text = format!("{}\n\n", picture.title);
    for (place, serial) in picture.serials.iter().enumerate() {
        let sample = cells(&[Cell::Of(Stretch::Pieces(place)); 3], look);
        let _ = writeln!(text, "  {sample}  {}", serial);
    }
    let _ = writeln!(text, "  {}  left, back into stock", cells(&[Cell::Of(Stretch::Remnant); 3], look));
    let _ = writeln!(
        text,
        "  {}  trim or scrap, where it is long enough to be seen",
        cells(&[Cell::Of(Stretch::Scrap); 3], look)
    );
    let longest = picture.coils.iter().map(length_mm).fold(0.0, f64::max).max(1.0);
    let wide = |label: &String| label.chars().count();
    let margin = picture.coils.iter().map(|coil| wide(&coil.label)).max().unwrap_or(0).max(7);
    let _ = writeln!(
        text,
        "\nCoils, from the outer end inwards; {WIDE} characters are {} {}:",
        measures.run(longest / 1000.0),
        measures.run_unit()
    );
    for coil in &picture.coils {
        let bar = bar(coil, longest);
        let length = format!("{} {}", measures.run(length_mm(coil) / 1000.0), measures.run_unit());
        let _ = writeln!(text, "  {:<margin$} {} {length}  {}", coil.label, cells(&bar, look), coil.detail);
    }
    let _ = writeln!(text, "\nReels, step 1 to {}; a coil's name stands where it is mounted:", picture.steps);
    for position in 1..=picture.reel_positions {
        let (names, lane) = lane(picture, position);
        let _ = writeln!(text, "  {:<margin$} {}", "", names.trim_end());
        let _ = writeln!(text, "  {:<margin$} {}", format!("reel {position}"), cells(&lane, look));
    }
    text
}

fn length_mm(coil: &CoilBar) -> f64 {
    coil.parts.iter().map(|part| part.length_mm * f64::from(part.count)).sum()
}

/// Each cell shows what is in its middle.
fn bar(coil: &CoilBar, longest_mm: f64) -> Vec<Cell> {
    let whole = length_mm(coil);
    let cell_mm = longest_mm / f64::from(WIDE);
    let mut cells = Vec::new();
    let mut parts = coil.parts.iter();
    let (mut part, mut end_mm) = (None, 0.0);
    for place in 0..WIDE {
        let middle = (f64::from(place) + 0.5) * cell_mm;
        // The first cell is there even of a coil that is shorter than half a cell.
        if middle > whole && place > 0 {
            break;
        }
        while end_mm <= middle {
            let Some(next) = parts.next() else { break };
            end_mm += next.length_mm * f64::from(next.count);
            part = Some(next);
        }
        cells.push(part.map_or(Cell::Blank, |part| Cell::Of(part.stretch)));
    }
    cells
}

/// The line of names over a reel and what it does.
fn lane(picture: &CutPicture, position: u32) -> (String, Vec<Cell>) {
    let steps = u64::from(picture.steps.max(1));
    let at = |step: u32| u64::from(step) * u64::from(WIDE) / steps;
    let mut cells = vec![Cell::Blank; WIDE as usize];
    let mut names = vec![' '; WIDE as usize];
    let mut fill = |from: u32, to: u32, cell: Cell| {
        let (from, to) = (at(from), at(to).max(at(from) + 1));
        for place in from..to {
            if let Some(slot) = usize::try_from(place).ok().and_then(|place| cells.get_mut(place)) {
                *slot = cell;
            }
        }
    };
    let mut free = 0;
    for span in picture.reels.iter().filter(|span| span.position == position) {
        fill(span.from, span.to, Cell::Mounted);
        for (serial, from, to) in &span.cuts {
            fill(*from, *to, Cell::Of(Stretch::Pieces(*serial)));
        }
        let begin = usize::try_from(at(span.from)).unwrap_or(0);
        if begin >= free && begin + span.label.chars().count() <= names.len() {
            for (slot, letter) in names.iter_mut().skip(begin).zip(span.label.chars()) {
                *slot = letter;
            }
            free = begin + span.label.chars().count() + 1;
        }
    }
    (names.into_iter().collect(), cells)
}

/// Cells as text; cells of one kind that follow each other share one change of colour, and the letter stands in their middle.
fn cells(cells: &[Cell], look: Look) -> String {
    let mut text = String::new();
    for run in cells.chunk_by(|before, after| before == after) {
        let Some(first) = run.first() else { continue };
        text += &match (*first, look) {
            (Cell::Blank, _) => " ".repeat(run.len()),
            (Cell::Mounted, Look::Colour) => "─".repeat(run.len()),
            (Cell::Mounted, Look::Ascii) => "-".repeat(run.len()),
            (Cell::Of(Stretch::Remnant), Look::Colour) => "░".repeat(run.len()),
            (Cell::Of(Stretch::Remnant), Look::Ascii) => "/".repeat(run.len()),
            (Cell::Of(Stretch::Trim | Stretch::Scrap), Look::Colour) => "█".repeat(run.len()),
            (Cell::Of(Stretch::Trim | Stretch::Scrap), Look::Ascii) => "#".repeat(run.len()),
            (Cell::Of(Stretch::Pieces(serial)), Look::Ascii) => {
                // One character for each cell: the letter alone, since a number would push the bar out of scale.
                serial_letter(serial).chars().take(1).collect::<String>().repeat(run.len())
            }
            (Cell::Of(Stretch::Pieces(serial)), Look::Colour) => coloured(serial, run.len()),
        };
    }
    text
}

fn coloured(serial: usize, wide: usize) -> String {
    let (red, green, blue) = serial_rgb(serial);
    let letter = serial_letter(serial);
    let inside = if letter.len() <= wide { format!("{letter:^wide$}") } else { " ".repeat(wide) };
    format!("\u{1b}[48;2;{red};{green};{blue}m\u{1b}[38;2;0;0;0m{inside}\u{1b}[0m")
}
