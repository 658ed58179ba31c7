//! End-to-end tests over real sockets.
