use super::*;

#[test]
fn every_kind_has_its_own_name() {
    for (kind, name) in Kind::all() {
        assert_eq!(Kind::from_name(&name), Some(kind));
    }
    assert_eq!(Kind::from_name("else"), None);
}

#[test]
fn seats_stand_inside_the_room_and_the_seed_decides() {
    for (kind, name) in Kind::all() {
        for seed in 0..20 {
            let s = Scenario::random(kind, seed);
            for i in 0..s.seats.len() {
                let place = s.seat_in_room_m(i);
                for (x, l) in place.iter().zip(s.room.size_m) {
                    assert!(*x > 0.1 && *x < l - 0.1, "{name} {seed}: seat {i} at {place:?}");
                }
            }
            assert_eq!(s, Scenario::random(kind, seed));
            assert_ne!(s, Scenario::random(kind, seed + 1));
        }
    }
}
