//! A build schedule, read and put in order.

use std::collections::BTreeMap;

use becket_api::cutting::ScheduleLine;
use becket_units::{Fault, check_identifier};

/// Most lines of a schedule.
const MAX_LINES: usize = 1000;
/// Most instruments of a line.
const MAX_COUNT: u32 = 10_000;

/// A kind of instrument: a model in one revision.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Kind {
    pub(crate) model_id: String,
    pub(crate) revision_id: String,
    /// The line that names it first, for errors.
    pub(crate) first_line: usize,
}

/// What is begun in a week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Week {
    /// Its Monday, ISO 8601.
    pub(crate) date: String,
    /// Kinds, as indices, and how many of each, in the order of the lines.
    pub(crate) builds: Vec<(usize, u32)>,
}

/// A build schedule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Schedule {
    /// Kinds in the order in which lines name them.
    pub(crate) kinds: Vec<Kind>,
    /// Weeks in order; only those in which something is begun.
    pub(crate) weeks: Vec<Week>,
}

impl Schedule {
    /// Counts one instrument besides for each due date, before the lines of the week in which it is due, or of the first week if
    /// that is later. The kinds of these instruments come after [`kinds`](Self::kinds), in the order of the dates.
    pub(crate) fn count_first(&mut self, due_dates: &[String]) {
        let kinds = self.kinds.len();
        let mut weeks: BTreeMap<String, Vec<(usize, u32)>> = BTreeMap::new();
        let first = self.weeks.first().map(|week| week.date.clone()).unwrap_or_default();
        for (index, due_date) in due_dates.iter().enumerate() {
            let date = monday_of(due_date).max(first.clone());
            weeks.entry(date).or_default().push((kinds.saturating_add(index), 1));
        }
        for Week { date, builds } in std::mem::take(&mut self.weeks) {
            weeks.entry(date).or_default().extend(builds);
        }
        self.weeks = weeks.into_iter().map(|(date, builds)| Week { date, builds }).collect();
    }
}

/// Monday of the week of a day; empty, and so before all others, for a text that is no day.
fn monday_of(day: &str) -> String {
    let monday = day.parse::<jiff::civil::Date>().ok().and_then(|day| {
        let days = i64::from(day.weekday().to_monday_zero_offset());
        day.checked_sub(jiff::Span::new().days(days)).ok()
    });
    monday.map(|monday| monday.to_string()).unwrap_or_default()
}

/// Reads a schedule; all faults of all lines at once.
pub(crate) fn read_schedule(lines: &[ScheduleLine]) -> Result<Schedule, Vec<Fault>> {
    if !(1..=MAX_LINES).contains(&lines.len()) {
        let given = format!("{} lines", lines.len());
        return Err(vec![Fault::new("lines", given, format!("1 to {MAX_LINES} lines"))]);
    }
    let mut faults = Vec::new();
    let mut kinds: Vec<Kind> = Vec::new();
    let mut weeks: BTreeMap<&str, Vec<(usize, u32)>> = BTreeMap::new();
    for (index, line) in lines.iter().enumerate() {
        faults.extend(line_faults(line).into_iter().map(|fault| fault.within(&format!("lines[{index}]"))));
        let ScheduleLine { model_id, revision_id, week_date, count } = line;
        let known =
            kinds.iter().position(|kind| kind.model_id == *model_id && kind.revision_id == *revision_id);
        let kind = known.unwrap_or_else(|| {
            let (model_id, revision_id) = (model_id.clone(), revision_id.clone());
            kinds.push(Kind { model_id, revision_id, first_line: index });
            kinds.len() - 1
        });
        weeks.entry(week_date).or_default().push((kind, u32::try_from(*count).unwrap_or_default()));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    // Days in ISO 8601 sort like the days that they name.
    let weeks = weeks.into_iter().map(|(date, builds)| Week { date: date.to_owned(), builds }).collect();
    Ok(Schedule { kinds, weeks })
}

fn line_faults(line: &ScheduleLine) -> Vec<Fault> {
    let ScheduleLine { model_id, revision_id, week_date, count } = line;
    let mut faults = Vec::new();
    for (field, text) in [("model_id", model_id), ("revision_id", revision_id)] {
        if let Err(error) = check_identifier(text) {
            faults.push(Fault::new(field, error.text, becket_units::IdentifierError::ALLOWED));
        }
    }
    if !is_monday(week_date) {
        let shown: String = week_date.chars().take(63).collect();
        faults.push(Fault::new("week_date", shown, "a Monday in ISO 8601, such as 2026-11-30"));
    }
    if !u32::try_from(*count).is_ok_and(|count| (1..=MAX_COUNT).contains(&count)) {
        faults.push(Fault::new("count", count, format!("1 to {MAX_COUNT}")));
    }
    faults
}

fn is_monday(text: &str) -> bool {
    becket_floor::is_iso_date(text)
        && text.parse::<jiff::civil::Date>().is_ok_and(|day| day.weekday() == jiff::civil::Weekday::Monday)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(model_id: &str, week_date: &str, count: i32) -> ScheduleLine {
        let (model_id, revision_id) = (model_id.to_owned(), "r1".to_owned());
        ScheduleLine { model_id, revision_id, week_date: week_date.to_owned(), count }
    }

    #[test]
    fn lines_become_weeks_in_order() {
        let lines = [line("b", "2026-12-07", 2), line("a", "2026-11-30", 1), line("b", "2026-11-30", 3)];
        let schedule = read_schedule(&lines).unwrap();
        let kinds: Vec<&str> = schedule.kinds.iter().map(|kind| kind.model_id.as_str()).collect();
        assert_eq!(kinds, ["b", "a"]);
        let weeks: Vec<_> =
            schedule.weeks.iter().map(|week| (week.date.as_str(), week.builds.clone())).collect();
        assert_eq!(weeks, [("2026-11-30", vec![(1, 1), (0, 3)]), ("2026-12-07", vec![(0, 2)])]);
    }

    #[test]
    fn jobs_count_in_the_week_in_which_they_are_due() {
        let lines = [line("a", "2026-11-30", 2), line("b", "2026-12-14", 3)];
        let mut schedule = read_schedule(&lines).unwrap();
        let due = ["2026-11-05", "2026-12-20", "2026-12-04", "2026-12-13", "2027-01-01"].map(str::to_owned);
        schedule.count_first(&due);
        let weeks: Vec<_> =
            schedule.weeks.iter().map(|week| (week.date.as_str(), week.builds.clone())).collect();
        let expected = [
            ("2026-11-30", vec![(2, 1), (4, 1), (0, 2)]),
            ("2026-12-07", vec![(5, 1)]),
            ("2026-12-14", vec![(3, 1), (1, 3)]),
            ("2026-12-28", vec![(6, 1)]),
        ];
        assert_eq!(weeks, expected);
    }

    #[test]
    fn all_faults_at_once() {
        let lines = [line("a", "2026-12-01", 1), line("A", "2026-11-30", 0), line("a", "2026-11-31", 10_001)];
        let fields: Vec<String> = read_schedule(&lines).unwrap_err().into_iter().map(|f| f.field).collect();
        let expected = [
            "lines[0].week_date",
            "lines[1].model_id",
            "lines[1].count",
            "lines[2].week_date",
            "lines[2].count",
        ];
        assert_eq!(fields, expected);
        assert_eq!(read_schedule(&[]).unwrap_err().len(), 1);
        assert_eq!(read_schedule(&vec![line("a", "2026-11-30", 1); 1001]).unwrap_err().len(), 1);
    }
}
