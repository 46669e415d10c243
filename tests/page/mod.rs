//! Helpers of the tests of the page.

// Each test program uses its own share of these.
#![allow(dead_code)]

pub mod axe;
pub mod convolve;
pub mod driver;
pub mod firefox;
pub mod http;
pub mod room_loop;
pub mod rooms;
pub mod server;
