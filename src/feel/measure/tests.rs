//! Both rigs measured, against the closed form of their numbers.

use super::*;

const KITTIWAKE: &str = include_str!("../../../scenarios/rigs/kittiwake.toml");
const BITTERN: &str = include_str!("../../../scenarios/rigs/bittern.toml");

#[test]
fn look() {
    for text in [KITTIWAKE, BITTERN] {
        let rig = Rig::parse(text).unwrap();
        let m = measure(&rig, &mut |_| true).unwrap();
        println!("{:#?} {:?}", m.figures(&rig), m.notes);
    }
    let rig = Rig::parse(&KITTIWAKE.replace("hold_a = 3.65", "hold_a = 1.5").replace("run_a = 3.75","run_a = 1.5")).unwrap();
    let m = measure(&rig, &mut |_| true).unwrap();
    println!("{:#?} {:?}", m.figures(&rig), m.notes);
}
