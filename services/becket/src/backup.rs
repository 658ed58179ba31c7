//! `backup` and `restore`.

use crate::{
    app,
    cli::{Backup, Restore},
    context::print,
    errors::{EXIT_DIFFERS, EXIT_DONE, Failure},
    output::verify_text,
    store,
};
use becket_store::replay::Report;

/// Copies the database into a file. Returns the exit code.
///
/// # Errors
/// Those of [`store::backup`].
pub(crate) async fn backup(args: &Backup) -> Result<u8, Failure> {
    let settings = app::settings(args.place.config.as_deref())?;
    let report = store::backup(&args.place.data, &settings, &args.to).await?;
    tell(
        &report,
        &format!("{} holds the shop up to entry {} of the journal", args.to.display(), report.entries),
    )
}

/// Puts a backup in the place of the database. Returns the exit code.
///
/// # Errors
/// Those of [`store::restore`].
pub(crate) async fn restore(args: &Restore) -> Result<u8, Failure> {
    let settings = app::settings(args.place.config.as_deref())?;
    let report = store::restore(&args.place.data, &settings, &args.from, args.replace).await?;
    let told =
        format!("{} was restored up to entry {} of the journal", args.place.data.display(), report.entries);
    tell(&report, &told)
}

fn tell(report: &Report, done: &str) -> Result<u8, Failure> {
    print(&verify_text(report))?;
    if report.is_clean() {
        print(done)?;
        return Ok(EXIT_DONE);
    }
    print("nothing was written, since the journal and the tables differ")?;
    Ok(EXIT_DIFFERS)
}
