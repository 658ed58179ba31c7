//! A primary and a synchronous standby, which change places when the primary dies.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use crate::{Shell, USUAL_PORT, psql};

/// What the shell does, beside what that of one server does: nodes are called "a" and "b", each with a folder for its socket.
/// "start N", "crash N" and "stop N" as there; "promote N" makes a standby the primary; "follow N M" makes N anew, as a synchronous standby
/// of M, and waits until it has caught up.
const SCRIPT: &str = r#"
set -eu
bin=$1
dir=$(mktemp -d "${TMPDIR:-/tmp}/becket-pair.XXXXXX")
trap 'rm -rf "$dir"' EXIT
mkdir "$dir/a" "$dir/b"
chmod 755 "$dir" "$dir/a" "$dir/b"
pid_a=
pid_b=
launch() {
    "$bin/postgres" -D "$dir/$1/data" -k "$dir/$1" -c listen_addresses= -c max_connections=100 -c shared_buffers=32MB \
        -c unix_socket_permissions=0777 -c log_min_messages=fatal >>"$dir/$1/server.log" 2>&1 &
    eval "pid_$1=$!"
    tries=0
    until "$bin/pg_isready" -q -h "$dir/$1" -d postgres -U becket; do
        eval "kill -0 \"\$pid_$1\"" 2>/dev/null && [ "$tries" -lt 600 ] || return 1
        tries=$((tries + 1))
        sleep 0.1
    done
}
start() {
    launches=0
    until launch "$1"; do
        launches=$((launches + 1))
        [ "$launches" -lt 100 ] || { cat "$dir/$1/server.log" >&2; exit 1; }
        sleep 0.1
    done
}
end() {
    eval "pid=\$pid_$1"
    [ -n "$pid" ] || return 0
    kill "$2" "$pid" 2>/dev/null || true
    { wait "$pid"; } 2>/dev/null || true
    eval "pid_$1="
}
sql() { "$bin/psql" -X -q -A -t -U becket -d postgres -h "$dir/$1" -c "$2"; }
follow() {
    end "$1" -QUIT
    rm -rf "$dir/$1/data"
    "$bin/pg_basebackup" -D "$dir/$1/data" -h "$dir/$2" -U becket -R -X stream -c fast >>"$dir/$1/server.log" 2>&1
    start "$1"
    sql "$2" "ALTER SYSTEM SET synchronous_standby_names = '*'"
    sql "$2" "SELECT pg_reload_conf()" >/dev/null
    tries=0
    until [ "$(sql "$2" "SELECT count(*) FROM pg_stat_replication WHERE sync_state = 'sync' AND state = 'streaming'")" = 1 ]; do
        tries=$((tries + 1))
        [ "$tries" -lt 600 ] || { cat "$dir/$1/server.log" >&2; exit 1; }
        sleep 0.1
    done
}
promote() {
    # Until the other one is back there is nobody to wait for.
    sql "$1" "SELECT pg_promote(true, 60)" >/dev/null
    sql "$1" "ALTER SYSTEM SET synchronous_standby_names = ''"
    sql "$1" "SELECT pg_reload_conf()" >/dev/null
}
"$bin/initdb" -D "$dir/a/data" -U becket -A trust -E UTF8 --locale=C.UTF-8 >"$dir/initdb.log" 2>&1 \
    || { cat "$dir/initdb.log" >&2; exit 1; }
start a
follow b a
echo "$dir"
while read -r word one two; do
    case "$word" in
        crash) end "$one" -KILL ;;
        start) start "$one" ;;
        promote) promote "$one" ;;
        follow) follow "$one" "$two" ;;
    esac
    echo done
done
end a -QUIT
end b -QUIT
"#;

/// Both servers. They end when this is dropped.
#[derive(Debug)]
pub struct Pair {
    shell: Mutex<Shell>,
    folder: PathBuf,
    programs: PathBuf,
    /// Which one takes the writes.
    primary: &'static str,
}

impl Pair {
    /// Starts both; the standby is synchronous.
    ///
    /// # Panics
    /// If they cannot be started.
    #[must_use]
    pub fn start() -> Self {
        let (shell, folder, programs) = Shell::start(SCRIPT, &[]);
        Self { shell: Mutex::new(shell), folder, programs, primary: "a" }
    }

    /// Makes an empty database and returns its address, which names both servers, the standby first.
    ///
    /// # Panics
    /// If it cannot be made.
    #[must_use]
    pub fn database(&self) -> String {
        psql(&self.programs, &self.folder.join(self.primary), USUAL_PORT, "postgres", "CREATE DATABASE shop");
        let folder = |node: &str| self.folder.join(node).display().to_string();
        format!("postgres://becket@localhost/shop?host={},{}", folder("b"), folder("a"))
    }

    /// Kills the first process of the primary.
    ///
    /// # Panics
    /// If the shell beside it is gone.
    pub fn crash_primary(&self) {
        self.tell(&format!("crash {}", self.primary));
    }

    /// Kills the first process of the standby.
    ///
    /// # Panics
    /// If the shell beside it is gone.
    pub fn crash_standby(&self) {
        self.tell(&format!("crash {}", self.standby()));
    }

    /// Starts the standby that was killed.
    ///
    /// # Panics
    /// If it does not start.
    pub fn revive_standby(&self) {
        self.tell(&format!("start {}", self.standby()));
    }

    /// Makes the standby the primary.
    ///
    /// # Panics
    /// If it cannot be.
    pub fn promote(&mut self) {
        self.tell(&format!("promote {}", self.standby()));
        self.primary = self.standby();
    }

    /// Makes the dead server anew, as a synchronous standby of the primary.
    ///
    /// # Panics
    /// If it does not catch up.
    pub fn follow(&self) {
        self.tell(&format!("follow {} {}", self.standby(), self.primary));
    }

    /// Runs SQL on the primary and returns what it prints.
    ///
    /// # Panics
    /// If it fails.
    #[must_use]
    pub fn sql(&self, sql: &str) -> String {
        psql(&self.programs, &self.folder.join(self.primary), USUAL_PORT, "shop", sql)
    }

    /// The folder with the sockets of both, each in one of its own.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    fn standby(&self) -> &'static str {
        if self.primary == "a" { "b" } else { "a" }
    }

    fn tell(&self, word: &str) {
        self.shell.lock().unwrap_or_else(PoisonError::into_inner).tell(word);
    }
}

impl Drop for Pair {
    fn drop(&mut self) {
        self.shell.lock().unwrap_or_else(PoisonError::into_inner).end();
    }
}
