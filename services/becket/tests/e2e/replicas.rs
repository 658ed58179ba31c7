//! Two replicas of both services on one PostgreSQL database, and a shop that moves there.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use becket_api::cutting::{
    ConfirmStepRequest, ConfirmStepResponse, PlanCutListRequest, StartCutListRequest, WatchCutListRequest,
};
use becket_api::stringing::{AmendJobRequest, GetJobRequest, GetStringSetRequest};
use becket_e2e::invariants::{check_journal, check_pieces, check_stock, is_cut};
use becket_e2e::{Server, Shop};
use becket_test_postgres::Server as Postgres;
use tempfile::TempDir;
use tokio::task::JoinSet;

use crate::concurrency::{job, plan, plan_at_last};
use crate::every_method::random_storm;
use crate::{Fresh, binary, data};

/// A database with its settings file.
pub(crate) struct Replicas {
    folder: TempDir,
    config: PathBuf,
    url: String,
}

impl Replicas {
    pub(crate) fn new() -> Self {
        Self::with("")
    }

    /// With further settings.
    pub(crate) fn with(more: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let config = folder.path().join("becket.toml");
        let url = Postgres::shared().database();
        let settings = format!(
            "[store]\nengine = \"postgres\"\n[store.postgres]\nurl = \"{url}\"\nwrite_connections = 4\nread_connections = 4\n{more}"
        );
        std::fs::write(&config, settings).unwrap();
        Self { folder, config, url }
    }

    /// Runs SQL beside the replicas.
    pub(crate) fn sql(&self, sql: &str) -> String {
        let database = self.url.split('?').next().unwrap().rsplit('/').next().unwrap();
        Postgres::shared().sql(database, sql)
    }

    pub(crate) fn becket(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(binary());
        command.args(arguments).arg("--config").arg(&self.config).env_remove("BECKET_SERVER");
        command.output().unwrap()
    }

    pub(crate) fn migrate(&self) -> String {
        printed(&self.becket(&["migrate"]))
    }

    /// Starts a replica; what its folder is called matters only for its log.
    pub(crate) fn serve(&self, name: &str) -> Server {
        let config = self.config.to_str().unwrap();
        let data = self.folder.path().join(name);
        Server::with(binary(), &data, &["--listen", "127.0.0.1:0", "--config", config])
    }
}

pub(crate) fn printed(output: &Output) -> String {
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{text}{}", String::from_utf8_lossy(&output.stderr));
    text
}

#[test]
fn a_server_starts_on_tables_of_its_version_only() {
    let replicas = Replicas::new();
    let data = replicas.folder.path().join("a");
    let serve = ["serve", "--listen", "127.0.0.1:0", "--data", data.to_str().unwrap()];
    let refused = replicas.becket(&serve);
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(!refused.status.success() && told.contains("run becket migrate"), "{told}");
    assert!(replicas.migrate().contains("the tables were made"));
    assert!(replicas.migrate().contains("already"));
    assert!(replicas.serve("a").stop().success());
}

/// What callers may send does not depend on the engine: texts that it cannot keep are refused, not met with INTERNAL.
#[tokio::test(flavor = "multi_thread")]
async fn random_requests_are_answered_or_refused_properly() {
    let replicas = Replicas::new();
    replicas.migrate();
    let server = replicas.serve("a");
    Shop::connect(server.url()).await.unwrap().load().await.unwrap();
    random_storm(server.url(), 10).await;
    let log = server.log();
    assert!(!log.contains("ERROR") && !log.contains("panicked"), "{log}");
}

pub(crate) async fn two(replicas: &Replicas) -> [(Server, Shop); 2] {
    let start = async |name| {
        let server = replicas.serve(name);
        let shop = Shop::connect(server.url()).await.unwrap();
        (server, shop)
    };
    [start("a").await, start("b").await]
}

#[tokio::test(flavor = "multi_thread")]
async fn two_replicas_promise_no_coil_twice() {
    const CLIENTS: usize = 8;
    let replicas = Replicas::new();
    replicas.migrate();
    let [(a, mut shop), (b, mut other)] = two(&replicas).await;
    shop.load().await.unwrap();
    let mut planning = JoinSet::new();
    for number in 0..CLIENTS {
        let job = job(number);
        let serial = job.serial_id.clone();
        shop.open_job(job).await.unwrap();
        let url = if number % 2 == 0 { a.url() } else { b.url() };
        planning.spawn(plan_at_last(Shop::connect(url).await.unwrap(), serial));
    }
    let planned = planning.join_all().await;
    assert_eq!(planned.iter().map(|list| &list.list_id).collect::<BTreeSet<_>>().len(), CLIENTS);
    // Eight at once want the same serial, four at each replica: one list has it.
    let mut planning = JoinSet::new();
    for number in 0..8 {
        let mut client = Shop::connect(if number % 2 == 0 { a.url() } else { b.url() }).await.unwrap();
        planning.spawn(async move { plan(&mut client, "C27-0107").await });
    }
    let planned = planning.join_all().await;
    assert_eq!(planned.iter().filter(|answer| answer.is_ok()).count(), 1, "{planned:?}");

    let lists = other.all_lists().await.unwrap();
    assert_eq!(lists.len(), CLIENTS + 1);
    let coils = other.all_coils().await.unwrap();
    assert_eq!(coils, shop.all_coils().await.unwrap());
    check_stock(&coils, &lists).unwrap();
    check_pieces(&lists).unwrap();
    assert!(coils.values().map(|coil| coil.reserved_um).sum::<i64>() > 0);
    check_journal(&other.all_entries().await.unwrap(), &[]).unwrap();
    assert!(a.stop().success() && b.stop().success());
}

pub(crate) fn confirm(shop: &Shop, list_id: &str, step_number: i32, count: i32) -> ConfirmStepRequest {
    ConfirmStepRequest { request_id: shop.request_id(), list_id: list_id.to_owned(), step_number, count }
}

/// Plans the demo's first serial and starts its list.
pub(crate) async fn running_list(shop: &mut Shop) -> (String, usize) {
    let list = plan(shop, "C27-0107").await.unwrap();
    let start = StartCutListRequest {
        request_id: shop.request_id(),
        list_id: list.list_id.clone(),
        etag: String::new(),
    };
    shop.lists.start_cut_list(start).await.unwrap();
    (list.list_id, list.steps.len())
}

/// The same request at both replicas at the same moment, and again after one of them was killed, is done once and answered alike.
#[tokio::test(flavor = "multi_thread")]
async fn repeats_get_the_first_answer_from_any_replica() {
    let replicas = Replicas::new();
    replicas.migrate();
    let [(a, mut shop), (b, other)] = two(&replicas).await;
    shop.load().await.unwrap();
    let (list_id, steps) = running_list(&mut shop).await;
    let mut answers: Vec<(ConfirmStepRequest, ConfirmStepResponse)> = Vec::new();
    for step in 1..=40.min(i32::try_from(steps).unwrap()) {
        let request = confirm(&shop, &list_id, step, 1);
        let (mut here, mut there) = (shop.clone(), other.clone());
        let (first, second) =
            tokio::join!(here.lists.confirm_step(request.clone()), there.lists.confirm_step(request.clone()));
        let (first, second) = (first.unwrap().into_inner(), second.unwrap().into_inner());
        assert_eq!(first, second, "step {step}");
        answers.push((request, first));
    }
    a.kill();
    let mut other = other;
    for (request, answer) in &answers {
        assert_eq!(other.lists.confirm_step(request.clone()).await.unwrap().into_inner(), *answer);
    }
    // The replica that is left goes on, and another one comes.
    let next = i32::try_from(answers.len()).unwrap() + 1;
    other.lists.confirm_step(confirm(&other, &list_id, next, 1)).await.unwrap();
    let c = replicas.serve("c");
    let mut third = Shop::connect(c.url()).await.unwrap();
    for (request, answer) in &answers {
        assert_eq!(third.lists.confirm_step(request.clone()).await.unwrap().into_inner(), *answer);
    }
    third.lists.confirm_step(confirm(&third, &list_id, next + 1, 1)).await.unwrap();
    let lists = third.all_lists().await.unwrap();
    check_stock(&third.all_coils().await.unwrap(), &lists).unwrap();
    let done = lists[0].steps.iter().filter(|step| is_cut(step) && step.done_time.is_some()).count();
    assert_eq!(i32::try_from(done).unwrap(), lists[0].pieces_done);
    check_journal(&third.all_entries().await.unwrap(), &[]).unwrap();
    drop(b);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kept_answer_follows_the_other_replica() {
    let replicas = Replicas::new();
    replicas.migrate();
    let [(_a, mut shop), (_b, mut other)] = two(&replicas).await;
    shop.load().await.unwrap();
    let set = |shop: &Shop| {
        let mut sets = shop.sets.clone();
        async move {
            let request = GetStringSetRequest { serial_id: "C27-0107".to_owned() };
            sets.get_string_set(request).await.unwrap().into_inner().string_set.unwrap()
        }
    };
    let mut pitch_hz = 440.0;
    let mut before = set(&shop).await;
    for _ in 0..5 {
        // Asked twice, so that it is kept at both.
        assert_eq!(set(&shop).await, before);
        assert_eq!(set(&other).await, before);
        let request = GetJobRequest { serial_id: "C27-0107".to_owned() };
        let mut job = other.jobs.get_job(request).await.unwrap().into_inner().job.unwrap();
        pitch_hz += 0.5;
        job.options.get_or_insert_default().a4_hz = Some(pitch_hz);
        let request =
            AmendJobRequest { request_id: other.request_id(), job: Some(job), ..Default::default() };
        other.jobs.amend_job(request).await.unwrap();
        let after = set(&shop).await;
        assert_ne!(after.digest, before.digest, "the answer of the replica that did not make the change");
        assert_eq!(set(&other).await, after);
        before = after;
        std::mem::swap(&mut shop, &mut other);
    }
}

/// Watchers at one replica hear of what is confirmed at the other well before they would look by themselves.
#[tokio::test(flavor = "multi_thread")]
async fn watchers_hear_of_the_other_replica() {
    const STEPS: usize = 30;
    let replicas = Replicas::new();
    replicas.migrate();
    let [(_a, mut shop), (_b, mut other)] = two(&replicas).await;
    shop.load().await.unwrap();
    let (list_id, _) = running_list(&mut shop).await;
    let request = WatchCutListRequest { list_id: list_id.clone(), resume_token: String::new() };
    let mut watching = other.lists.watch_cut_list(request).await.unwrap().into_inner();
    let mut next = watching.message().await.unwrap().unwrap().next.unwrap().step_number;
    let mut waits = Vec::new();
    for _ in 0..STEPS {
        shop.lists.confirm_step(confirm(&shop, &list_id, next, 1)).await.unwrap();
        let answered = Instant::now();
        let seen = tokio::time::timeout(Duration::from_secs(30), watching.message()).await;
        let seen = seen.expect("nothing was heard").unwrap().unwrap();
        waits.push(answered.elapsed());
        next = seen.next.unwrap().step_number;
    }
    waits.sort_unstable();
    // By looking alone the median would be half a second.
    let median = waits[STEPS / 2];
    assert!(median < Duration::from_millis(200), "median {median:?}, longest {:?}", waits[STEPS - 1]);
    println!(
        "a watcher at the other replica hears after {median:?} (median), {:?} (longest)",
        waits[STEPS - 1]
    );
}

fn stripped(coils: BTreeMap<String, becket_api::cutting::Coil>) -> Vec<becket_api::cutting::Coil> {
    coils.into_values().collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_shop_moves_by_one_command_and_goes_on() {
    let (fresh, mut shop) = Fresh::with_demo().await;
    let (list_id, _) = running_list(&mut shop).await;
    let request = confirm(&shop, &list_id, 1, 7);
    let answer = shop.lists.confirm_step(request.clone()).await.unwrap().into_inner();
    let (coils, lists) = (stripped(shop.all_coils().await.unwrap()), shop.all_lists().await.unwrap());
    let entries = shop.all_entries().await.unwrap();
    let Fresh { server, folder } = fresh;
    assert!(server.stop().success());

    let replicas = Replicas::new();
    let place = data(&folder);
    let move_shop = |from: &str, to: &str, place: &Path| {
        replicas.becket(&["move-shop", "--from", from, "--to", to, "--data", place.to_str().unwrap()])
    };
    assert!(!move_shop("sqlite", "postgres", &place).status.success(), "there are no tables yet");
    replicas.migrate();
    let told = printed(&move_shop("sqlite", "postgres", &place));
    assert!(told.contains("cut_steps") && told.contains(&format!("{} rows", entries.len())), "{told}");
    let again = move_shop("sqlite", "postgres", &place);
    assert!(String::from_utf8_lossy(&again.stderr).contains("must be empty"));

    let server = replicas.serve("a");
    let mut shop = Shop::connect(server.url()).await.unwrap();
    assert_eq!(stripped(shop.all_coils().await.unwrap()), coils);
    assert_eq!(shop.all_lists().await.unwrap(), lists);
    assert_eq!(shop.all_entries().await.unwrap(), entries);
    assert_eq!(shop.lists.confirm_step(request).await.unwrap().into_inner(), answer, "a repeat");
    shop.lists.confirm_step(confirm(&shop, &list_id, 8, 3)).await.unwrap();
    let request = PlanCutListRequest {
        request_id: shop.request_id(),
        station_id: "bench-1".into(),
        serial_ids: vec!["S16-0412".into()],
        ..Default::default()
    };
    shop.lists.plan_cut_list(request).await.unwrap();
    check_journal(&shop.all_entries().await.unwrap(), &entries).unwrap();
    assert!(server.stop().success());

    // And back, into a file that is not there yet.
    let back = folder.path().join("back");
    std::fs::create_dir(&back).unwrap();
    let told_back = printed(&move_shop("postgres", "sqlite", &back));
    assert!(told_back.contains("cut_steps"));
    let server = Server::start(binary(), &back);
    let mut shop = Shop::connect(server.url()).await.unwrap();
    assert_eq!(shop.all_lists().await.unwrap().len(), lists.len() + 1);
}
