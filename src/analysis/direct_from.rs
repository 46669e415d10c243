//! Where the headline loss changes from the room's sound to the direct sound.

/// From this frequency up the headline loss is the direct sound's, Hz (between the 400 and
/// 500 Hz bands): below, the direct window is too short to tell, and the room's sound is it.
pub const DIRECT_FROM_HZ: f64 = 450.0;
