//! From recordings to responses and transmissions.
