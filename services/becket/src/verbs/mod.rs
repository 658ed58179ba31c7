//! What each verb does: ask the server and print its answer.

mod change;
mod design;
mod feed;
mod floor;
mod list;
mod load;
mod pages;
mod partials;
mod picture;
mod plot;
mod report;
mod sets;
mod show;
mod stock;
mod token;
mod watch;
mod webhook;
mod winding;

use crate::{
    cli::{Cli, Verb},
    context::Context,
    errors::{EXIT_DONE, Failure},
};

pub(crate) use load::{load_coils, load_jobs, load_scale, load_station, load_wires};
pub(crate) use show::wire_names;

/// Does what the command line asks for and returns the exit code.
///
/// # Errors
/// [`Failure`] of the verb.
pub(crate) async fn run(cli: Cli) -> Result<u8, Failure> {
    let global = cli.global;
    let verb = match cli.verb {
        Verb::Serve(args) => return crate::serve::run(&args).await.map(|()| EXIT_DONE),
        Verb::Migrate(args) => return crate::serve::migrate(&args.place).await.map(|()| EXIT_DONE),
        Verb::MoveShop(args) => return crate::serve::move_shop(&args).await.map(|()| EXIT_DONE),
        Verb::Verify(args) => return crate::serve::verify(&args, global.format).await,
        Verb::Backup(args) => return crate::backup::backup(&args).await,
        Verb::Restore(args) => return crate::backup::restore(&args).await,
        Verb::Token(args) => return token::run(&args).map(|()| EXIT_DONE),
        Verb::Settings(args) => return crate::serve::show_settings(&args).map(|()| EXIT_DONE),
        Verb::Tour(args) => return crate::tour::run(&args, &global).await.map(|()| EXIT_DONE),
        other => other,
    };
    let context = Context::new(&global)?;
    match verb {
        Verb::Plan(args) => floor::plan(&context, &args).await,
        Verb::PlanFile(args) => picture::plan_file(&context, &args).await,
        other => ask(&context, other).await.map(|()| EXIT_DONE),
    }
}

/// The verbs that either do their work or fail.
async fn ask(context: &Context, verb: Verb) -> Result<(), Failure> {
    match verb {
        // Handled by the caller; named here so that a new verb does not build before it does something.
        Verb::Serve(_)
        | Verb::Migrate(_)
        | Verb::MoveShop(_)
        | Verb::Verify(_)
        | Verb::Backup(_)
        | Verb::Restore(_)
        | Verb::Token(_)
        | Verb::Settings(_)
        | Verb::Tour(_)
        | Verb::Plan(_)
        | Verb::PlanFile(_) => Ok(()),
        Verb::Load(what) => load::run(context, &what).await,
        Verb::Release(args) => change::release(context, &args).await,
        Verb::Amend(what) => change::amend(context, &what).await,
        Verb::Close(args) => change::close(context, &args).await,
        Verb::List(what) => list::run(context, what).await,
        Verb::Show(what) => show::run(context, &what).await,
        Verb::Weigh(args) => stock::weigh(context, &args).await,
        Verb::Decide(args) => stock::decide(context, &args).await,
        Verb::SetAside(args) => stock::set_aside(context, &args).await,
        Verb::Return(args) => stock::return_coil(context, &args).await,
        Verb::Scrap(args) => stock::scrap(context, &args).await,
        Verb::Unmount(args) => stock::unmount(context, &args).await,
        Verb::SetRule(args) => stock::set_rule(context, &args).await,
        Verb::Start(args) => floor::start(context, &args).await,
        Verb::Confirm(args) => floor::confirm(context, &args).await,
        Verb::Spoiled(args) => floor::spoiled(context, &args).await,
        Verb::RunOut(args) => floor::run_out(context, &args).await,
        Verb::Replan(args) => floor::replan(context, &args).await,
        Verb::Finish(args) => floor::finish(context, &args).await,
        Verb::Cancel(args) => floor::cancel(context, &args).await,
        Verb::Watch(args) => watch::watch(context, &args).await,
        Verb::Feed(args) => feed::feed(context, &args).await,
        Verb::Webhook(what) => webhook::run(context, &what).await,
        Verb::Order(args) => winding::order(context, &args).await,
        Verb::Picture(args) => picture::picture(context, &args).await,
        Verb::Plot(args) => plot::plot(context, &args).await,
        Verb::Estimate(args) => report::estimate(context, &args).await,
        Verb::Trace(args) => report::trace(context, &args).await,
        Verb::Design(what) => design::design(context, &what).await,
        Verb::Replace(args) => design::replace(context, &args).await,
        Verb::Compare(args) => design::compare(context, &args).await,
        Verb::Stretch(args) => design::stretch(context, &args).await,
        Verb::Bands(args) => design::bands(context, &args).await,
        Verb::Special(args) => design::special(context, &args).await,
    }
}

/// Calls a method of a service: `call!(context.client.coils(), get_coil, request)`.
macro_rules! call {
    ($service:expr, $method:ident, $request:expr) => {
        $service.call($request, |mut client, request| async move { client.$method(request).await }).await
    };
}
pub(crate) use call;
