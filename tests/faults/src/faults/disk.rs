//! The disk fills up while four stations book, and is freed again.

use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use becket_test_postgres::Server as Postgres;
use tempfile::TempDir;

use super::Trial;
use crate::report::Outcome;
use crate::site::Site;

/// How long the stations work before and while the disk is full.
const WORK: Duration = Duration::from_millis(700);
const FULL: Duration = Duration::from_secs(2);
/// Left free besides what the data need now: the disk is to fill up within a few writes, at any place within one.
const LEFT: usize = 64 * 1024;

/// A small disk in memory. It is there for the superuser alone.
struct Disk {
    mounted: PathBuf,
    _folder: TempDir,
}

impl Disk {
    /// Mounts a disk of this many MiB; `None` where that is not allowed.
    fn mount(mib: usize) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a folder can be made");
        let mounted = folder.path().join("disk");
        std::fs::create_dir(&mounted).expect("a folder can be made");
        let size = format!("size={mib}m,mode=0777");
        let done =
            Command::new("mount").args(["-t", "tmpfs", "-o", &size, "tmpfs"]).arg(&mounted).output().ok()?;
        // For the server that does not run as root, which must be able to reach it.
        Command::new("chmod").arg("755").arg(folder.path()).status().ok()?;
        done.status.success().then_some(Self { mounted, _folder: folder })
    }

    fn ballast(&self) -> PathBuf {
        self.mounted.join("ballast")
    }

    /// Writes until nothing more fits, and gives a little back.
    fn fill(&self, left: usize) {
        let mut file = File::create(self.ballast()).expect("a file can be made");
        let block = vec![7_u8; 16 * 1024];
        let mut written = 0_u64;
        while let Ok(count) = file.write(&block) {
            written += count as u64;
        }
        drop(file.set_len(written.saturating_sub(left as u64)));
    }

    fn free(&self) {
        drop(std::fs::remove_file(self.ballast()));
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        // Lazily: a server that is just ending may still have files open.
        drop(Command::new("umount").arg("-l").arg(&self.mounted).status());
    }
}

/// The file of SQLite is on the disk that fills up. `None` where no disk can be mounted.
pub async fn disk_sqlite(binary: &Path, rounds: usize, seed: u64) -> Option<Outcome> {
    let disk = Disk::mount(64)?;
    let site = Site::sqlite(binary, Some(&disk.mounted));
    let mut trial = Trial::begin("disk full", site.engine(), site.doors(), seed).await;
    for _ in 0..rounds {
        trial.work(WORK).await;
        let left = trial.random.below(LEFT);
        disk.fill(left);
        tokio::time::sleep(FULL).await;
        disk.free();
        trial.settle(Instant::now(), &site).await;
        if trial.is_lost() {
            break;
        }
    }
    drop(site);
    Some(trial.end())
}

/// The data of PostgreSQL are. The server ends itself when it cannot write its log; whoever runs it starts it again.
pub async fn disk_postgres(binary: &Path, rounds: usize, seed: u64) -> Option<Outcome> {
    let disk = Disk::mount(256)?;
    let postgres = Postgres::start_in(&disk.mounted);
    let site = Site::postgres(binary, &postgres.database(), 2, "");
    let mut trial = Trial::begin("disk full", site.engine(), site.doors(), seed).await;
    for _ in 0..rounds {
        trial.work(WORK).await;
        let left = trial.random.below(LEFT);
        disk.fill(left);
        tokio::time::sleep(FULL).await;
        disk.free();
        postgres.ensure();
        trial.settle(Instant::now(), &site).await;
        if trial.is_lost() {
            break;
        }
    }
    drop(site);
    Some(trial.end())
}
