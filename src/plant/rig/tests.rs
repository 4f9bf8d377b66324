//! The two rigs of the repository, and bad rig files.

use super::*;

const KITTIWAKE: &str = include_str!("../../../scenarios/rigs/kittiwake.toml");
const BITTERN: &str = include_str!("../../../scenarios/rigs/bittern.toml");

#[test]
fn both_rigs_are_sound() {
    for text in [KITTIWAKE, BITTERN] {
        let rig = Rig::parse(text)
            .unwrap_or_else(|e| panic!("{e:?} {:?}", e.span.clone().map(|s| &text[s])));
        assert_eq!(rig.advice(), Vec::<String>::new(), "{}", rig.name);
        for (name, value) in rig.constants() {
            println!("{} {name} {value}", rig.name);
        }
        println!("{:#?}", rig.stick.mass.properties());
    }
}
