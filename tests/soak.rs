//! A long run over a pseudo-terminal whose frames are damaged: nothing wrong is taken, nothing is
//! lost.
#![cfg(unix)]

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use trimproof_board::BoardAbout;
use trimproof_controller::Settings;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Ending, LogicTarget, Target};
use trimproof_io::{Inputs, Switches};
use trimproof_link::{
    BoardTarget, Direction, FaultyLine, LineFaultKind, LineFaults, Link, NoPins, Patience,
    pty_pair, serve,
};

/// What a stick might send: it wanders, shakes, is released and trimmed, and loses its supply now
/// and then.
fn inputs(tick: u32) -> Inputs {
    let swing = |period: u32| {
        let at = tick % period;
        at.min(period - at) as u16
    };
    let shake = (tick.wrapping_mul(2_654_435_761) >> 30) as u16;
    Inputs {
        tick,
        sensor_counts: [1900 + swing(300) + shake, 2100 - swing(222) + shake],
        switches: Switches {
            release: tick % 700 > 550,
            hat_aft: tick % 900 > 820,
            hat_left: tick % 1300 > 1200,
            force_trim: tick % 20_000 > 100,
            ..Switches::default()
        },
        supply_mv: if tick % 50_000 > 49_700 {
            9_000
        } else {
            24_000
        },
    }
}

/// Runs `ticks` with a share of `share` of the frames of both ways damaged, every answer beside the
/// controller's own.
fn soak(ticks: u32, share: f64) {
    let (near, mut far, _) = pty_pair().expect("there is a pseudo-terminal");
    let stop = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let served = scope.spawn(|| {
            let about = BoardAbout {
                board: "pty",
                tick_hz: 0,
                has_motors: false,
            };
            serve(&mut far, about, &mut NoPins, &stop)
        });
        let faults = LineFaults {
            kind: LineFaultKind::FlipBit,
            direction: Direction::Both,
            share,
            after: 0,
            seed: 20_261_125,
        };
        let line = FaultyLine::new(Box::new(near), faults);
        let struck = line.struck();
        // The board answers within a millisecond unless the machine is busy; then waiting longer
        // each time helps. (On two cores with twelve busy processes it has been seen not to answer
        // for 2.4 s.)
        let patience = Patience {
            first: Duration::from_millis(3),
            most: Duration::from_secs(1),
            repeats: 15,
        };
        let begun = Instant::now();
        let work = || -> Result<(u32, BoardTarget), String> {
            let link = Link::open(Box::new(line), patience, patience, None)
                .map_err(|error| error.to_string())?;
            let (mut board, mut logic) = (BoardTarget::new(link), LogicTarget::new());
            let said = |error: trimproof_harness::run::TargetError| error.to_string();
            board.begin(&example()).map_err(said)?;
            logic.begin(&example()).map_err(said)?;
            let mut wrong = 0;
            for tick in 0..ticks {
                let inputs = inputs(tick);
                let answer = board
                    .tick(&inputs)
                    .map_err(|error| format!("lost at tick {tick}: {error}"))?;
                wrong += u32::from(Ok(answer) != logic.tick(&inputs));
            }
            board.end(Ending::Complete);
            Ok((wrong, board))
        };
        let worked = work();
        stop.store(true, Ordering::Relaxed);
        let served = served.join();
        let (wrong, board) = worked.unwrap_or_else(|why| panic!("{why}; the board: {served:?}"));
        let wall_s = begun.elapsed().as_secs_f64();
        let traffic = board.traffic().expect("a board has a link");
        let struck = struck.load(Ordering::Relaxed);
        let at = |percent| traffic.round_trips.percentile_us(percent).unwrap_or(0);
        println!(
            "{ticks} ticks, {struck} frames damaged on purpose: {wrong} wrong commands taken, the run went to its end; {} repeats, {} damaged \
             frames seen, {} other frames; {wall_s:.1} s, {:.0} ticks a second, round trip half within {} µs, 99 % {} µs, longest {} µs",
            traffic.repeats,
            traffic.damaged,
            traffic.ignored,
            f64::from(ticks) / wall_s,
            at(50.0),
            at(99.0),
            traffic.round_trips.max_us()
        );
        assert_eq!(wrong, 0, "wrong commands were taken");
        assert_eq!(traffic.ticks, u64::from(ticks));
        // Binomial with n = 2 * ticks at least: a tenth off is more than four sigma for 20 000
        // ticks.
        let expected = 2.0 * f64::from(ticks) * share;
        assert!(
            struck as f64 > 0.8 * expected,
            "{struck} struck, expected {expected}"
        );
        assert!(traffic.repeats >= struck * 9 / 10);
    });
}

#[test]
fn twenty_thousand_ticks_with_one_frame_in_a_hundred_damaged() {
    soak(20_000, 0.01);
}

/// Some minutes: `cargo test --release --test soak -- --ignored --nocapture`.
#[test]
#[ignore = "takes minutes"]
fn a_million_ticks_with_one_frame_in_a_hundred_damaged() {
    soak(1_000_000, 0.01);
}

/// A shipped rig with the example settings, which the sensors of this run are made for.
fn example() -> RigFile {
    let text = include_str!("../scenarios/rigs/kittiwake.toml");
    RigFile {
        controller: Some(Settings::example()),
        ..RigFile::parse(text).expect("it is shipped")
    }
}
