//! A sheet of columns with units and rows of text: the one form that becomes a table or csv.

use comfy_table::{Cell, CellAlignment, ContentArrangement, LineStyle, Table, TableStyle};

/// No lines but one below the header: what stands in columns needs no boxes.
const STYLE: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('─').junction('─'));

/// A column: its name, its unit if it has one, and whether it holds numbers.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Column {
    name: &'static str,
    unit: &'static str,
    number: bool,
}

/// A column of words.
pub(crate) const fn left(name: &'static str) -> Column {
    Column { name, unit: "", number: false }
}

/// A column of numbers. All its rows have the same number of decimals, so that they align at the point.
pub(crate) const fn right(name: &'static str, unit: &'static str) -> Column {
    Column { name, unit, number: true }
}

/// Columns and rows.
#[derive(Debug, Clone)]
pub(crate) struct Sheet {
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
}

impl Sheet {
    /// A sheet with the given rows.
    pub(crate) fn of(columns: impl Into<Vec<Column>>, rows: impl IntoIterator<Item = Vec<String>>) -> Self {
        Self { columns: columns.into(), rows: rows.into_iter().collect() }
    }

    /// The table for people.
    pub(crate) fn table(&self) -> String {
        let mut table = Table::new();
        table.load_style(STYLE).set_content_arrangement(ContentArrangement::Disabled);
        // Without a unit anywhere a second header line would be empty.
        let units = self.columns.iter().any(|column| !column.unit.is_empty());
        table.set_header(self.columns.iter().map(|column| {
            let text =
                if units { format!("{}\n{}", column.name, column.unit) } else { column.name.to_owned() };
            Cell::new(text).set_alignment(alignment(column))
        }));
        for row in &self.rows {
            let cells = row.iter().zip(&self.columns);
            table.add_row(cells.map(|(text, column)| Cell::new(text).set_alignment(alignment(column))));
        }
        table.trim_fmt() + "\n"
    }

    /// The csv: a header of names with units, then the rows.
    pub(crate) fn csv(&self) -> String {
        let header: Vec<_> = self.columns.iter().map(csv_name).collect();
        records(std::iter::once(&header).chain(&self.rows))
    }

    /// The rows of the csv without its header.
    pub(crate) fn csv_rows(&self) -> String {
        records(&self.rows)
    }
}

fn records<'a>(rows: impl IntoIterator<Item = &'a Vec<String>>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        // Writing to memory cannot fail; were it to, the output would only be shorter.
        let _ = writer.write_record(row);
    }
    writer.into_inner().map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).unwrap_or_default()
}

fn alignment(column: &Column) -> CellAlignment {
    if column.number { CellAlignment::Right } else { CellAlignment::Left }
}

/// `left on coil` in `mm` is `left_on_coil_mm`.
fn csv_name(column: &Column) -> String {
    let unit = match column.unit {
        "%" => "percent".to_owned(),
        other => other.to_lowercase().replace('/', "_").replace('³', "3"),
    };
    let name = column.name.to_lowercase().replace([' ', '-', '.'], "_");
    if unit.is_empty() { name } else { format!("{name}_{unit}") }
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::*;

    fn sheet() -> Sheet {
        let columns = [left("coil"), right("left on coil", "mm"), right("share", "%")];
        let rows = [["R0101", "780.0", "1.5"], ["R0102, opened", "99234.0", "100.0"]];
        Sheet::of(columns, rows.map(|row| row.map(str::to_owned).to_vec()))
    }

    #[test]
    fn tables_align_numbers_and_name_units() {
        expect![[r#"
             coil            left on coil   share
                                       mm       %
            ──────────────────────────────────────
             R0101                  780.0     1.5
             R0102, opened        99234.0   100.0
        "#]]
        .assert_eq(&sheet().table());
    }

    #[test]
    fn csv_names_units_and_quotes() {
        expect![[r#"
            coil,left_on_coil_mm,share_percent
            R0101,780.0,1.5
            "R0102, opened",99234.0,100.0
        "#]]
        .assert_eq(&sheet().csv());
    }
}
