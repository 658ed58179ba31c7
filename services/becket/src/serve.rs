//! `serve`, `migrate`, `move-shop` and `verify`.

use crate::{
    app::{self, Services},
    cli::{self, EngineWord, Format, MoveShop, Only, Place, Serve, Verify},
    context::print,
    errors::{EXIT_DIFFERS, EXIT_DONE, Failure},
    output::{verify_json, verify_sheet, verify_text},
    store,
};
use becket_service_kit::{EngineChoice, Settings};

/// Serves until the process is interrupted or terminated.
///
/// # Errors
/// [`Failure::Usage`] for options that do not go together; [`Failure::Start`] if the server cannot be started.
pub(crate) async fn run(args: &Serve) -> Result<(), Failure> {
    let settings = settings(args)?;
    app::log(&settings)?;
    let services = match args.only {
        None => Services::Both,
        Some(Only::Stringing) => Services::Stringing,
        Some(Only::Cutting) => Services::Cutting,
    };
    let listen = args.listen.unwrap_or(match services {
        Services::Both => app::DEFAULT_LISTEN,
        Services::Stringing => settings.stringing.listen,
        Services::Cutting => settings.cutting.listen,
    });
    let listener = app::bind(listen, &settings.security).await?;
    let server = app::start(services, settings, &args.data, listener).await?;
    // Whoever reads that it is ready may stop it at once.
    let told_to_stop = app::told_to_stop()?;
    print(&format!("becket is ready on {}, data in {}", server.url(), args.data.display()))?;
    server.until(told_to_stop).await
}

/// Brings the tables of the database to this version.
///
/// # Errors
/// [`Failure::Start`] if that cannot be done.
pub(crate) async fn migrate(place: &Place) -> Result<(), Failure> {
    let settings = app::settings(place.config.as_deref())?;
    print(&store::migrate(&place.data, &settings).await?)
}

/// Copies a shop from one engine to the other, and prints what was compared.
///
/// # Errors
/// [`Failure::Start`] if that cannot be done; nothing was copied then.
pub(crate) async fn move_shop(args: &MoveShop) -> Result<(), Failure> {
    let settings = app::settings(args.place.config.as_deref())?;
    let to = match (args.from, args.to) {
        (EngineWord::Sqlite, EngineWord::Postgres) => EngineChoice::Postgres,
        (EngineWord::Postgres, EngineWord::Sqlite) => EngineChoice::Sqlite,
        _ => return Err(Failure::Usage("--from and --to name the same engine".to_owned())),
    };
    print(&store::move_shop(&args.place.data, &settings, to).await?)
}

/// Replays the journal, compares the tables with it, and prints what was found. Returns the exit code.
///
/// # Errors
/// [`Failure::Start`] if the data cannot be read.
pub(crate) async fn verify(args: &Verify, format: Format) -> Result<u8, Failure> {
    let settings = app::settings(args.place.config.as_deref())?;
    let report = store::verify(&args.place.data, &settings).await?;
    print(&match format {
        Format::Table => verify_text(&report),
        Format::Json => verify_json(&report),
        Format::Csv => verify_sheet(&report).csv(),
    })?;
    Ok(if report.is_clean() { EXIT_DONE } else { EXIT_DIFFERS })
}

fn settings(args: &Serve) -> Result<Settings, Failure> {
    let mut settings = app::settings(args.config.as_deref())?;
    match (&args.stringing_endpoint, args.only) {
        (Some(endpoint), Some(Only::Cutting)) => settings.cutting.stringing_endpoint.clone_from(endpoint),
        (Some(_), _) => {
            return Err(Failure::Usage("--stringing-endpoint goes with --only cutting".to_owned()));
        }
        (None, _) => {}
    }
    Ok(settings)
}

/// Shows the settings that a server would have, and where each comes from.
///
/// # Errors
/// [`Failure::Start`] with every problem; [`Failure::Print`].
pub(crate) fn show_settings(args: &cli::Settings) -> Result<(), Failure> {
    app::settings(args.config.as_deref())?;
    let shown = Settings::effective(args.config.as_deref(), std::env::vars()).map_err(app::cannot_serve)?;
    for setting in shown {
        print(&format!("{} = {}  # {}", setting.key, setting.value, setting.origin))?;
    }
    Ok(())
}
