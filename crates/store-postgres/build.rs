//! The migrations are compiled in; a new file must lead to a new build.

fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
