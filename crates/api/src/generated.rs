//! The code that `cargo xtask codegen` writes to `src/gen/`, in the module tree that it expects.
#![allow(
    missing_docs,
    unreachable_pub,
    rustdoc::all,
    clippy::all,
    clippy::allow_attributes_without_reason,
    reason = "generated code"
)]

/// The encoded `google.protobuf.FileDescriptorSet` of the whole API with its imports and comments.
pub const DESCRIPTORS: &[u8] = include_bytes!("gen/descriptors.bin");

pub mod becket {
    pub mod stringing {
        pub mod v1 {
            include!("gen/becket.stringing.v1.rs");
        }
    }
    pub mod cutting {
        pub mod v1 {
            include!("gen/becket.cutting.v1.rs");
        }
    }
    pub mod journal {
        pub mod v1 {
            include!("gen/becket.journal.v1.rs");
        }
    }
    pub mod feed {
        pub mod v1 {
            include!("gen/becket.feed.v1.rs");
        }
    }
    pub mod errors {
        pub mod v1 {
            include!("gen/becket.errors.v1.rs");
        }
    }
}
