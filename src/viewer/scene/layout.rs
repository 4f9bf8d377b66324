//! Where everything stands, from the rig's own numbers. Lengths in m.
//!
//! The scene's axes are the renderer's: x to the right, y up, z towards the viewer, who sits behind
//! the stick and looks forward. Body axes after ISO 1151 (x forward, y right, z down) go over by
//! [`to_scene`]. What a rig file does not say (housings, posts, the plate, a spring of a cartridge
//! that was only measured) is filled in to suit what it says.

use bevy::math::Vec3;
use trimproof_plant::rig::{AxisRig, CartridgeRig, MassRig};
use trimproof_plant::{Rig, Solid};

use super::turns::pitch;

/// A place or a direction in body axes as one in the scene.
pub fn to_scene(body: [f64; 3]) -> Vec3 {
    Vec3::new(body[1] as f32, -body[2] as f32, -body[0] as f32)
}

/// Sizes and places of everything in the scene.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Tube of the stick.
    pub tube: TubeLayout,
    /// Height of the grip's reference point above the pivot.
    pub grip_m: f32,
    /// Radius of the grip.
    pub grip_radius_m: f32,
    /// Length of the grip between its round ends.
    pub grip_length_m: f32,
    /// Half width of the outer frame: to the side, fore and aft.
    pub frame_half_m: [f32; 2],
    /// Solids that turn in pitch, and those that turn in both, if the rig gives them.
    pub solids: Option<[Vec<Solid>; 2]>,
    /// Drives and cartridges, `[pitch, roll]`.
    pub axis: [AxisLayout; 2],
    /// Height of the pivot above the plate.
    pub pivot_m: f32,
    /// The pins that the stick stops at.
    pub pins: Vec<PinLayout>,
}

/// Tube of the stick, heights above the pivot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TubeLayout {
    /// Radius.
    pub radius_m: f32,
    /// Where it begins.
    pub bottom_m: f32,
    /// Where it ends.
    pub top_m: f32,
}

/// The plate that carries everything: how far it goes from below the pivot, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlateLayout {
    /// To the left.
    pub left_m: f32,
    /// To the right.
    pub right_m: f32,
    /// Forward.
    pub fore_m: f32,
    /// Backward.
    pub aft_m: f32,
}

/// Drive and cartridge of an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisLayout {
    /// Teeth of the trim shaft's gear.
    pub trim_teeth: u32,
    /// Teeth of the pinion.
    pub motor_teeth: u32,
    /// Pitch radius of the trim shaft's gear.
    pub trim_radius_m: f32,
    /// Pitch radius of the pinion.
    pub motor_radius_m: f32,
    /// Motor turns per turn of the trim shaft.
    pub ratio: f32,
    /// On which side of the gear the pinion stands, along z of the drive's frame: so that the motor
    /// hides nothing.
    pub pinion_side: f32,
    /// How far the stick goes to either side, about, rad.
    pub travel_rad: f32,
    /// How many times too wide the play between the teeth is drawn.
    pub play_drawn: f32,
    /// Edge and length of the motor.
    pub motor_m: [f32; 2],
    /// The cartridge.
    pub cartridge: CartridgeLayout,
    /// Torque of the cartridge at the far end of its travel: the end of the colour scale, N m.
    pub full_n_m: f32,
}

/// A cartridge as it is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CartridgeLayout {
    /// From the axis to the line of the springs.
    pub arm_m: f32,
    /// Length of a spring at rest.
    pub length_m: f32,
    /// Mean diameter of the coil.
    pub coil_m: f32,
    /// Diameter of the wire.
    pub wire_m: f32,
    /// Coils.
    pub coils: f32,
    /// Springs side by side.
    pub springs: u32,
    /// Half width of the free play, rad.
    pub free_play_rad: f32,
    /// The rig gives the spring's own sizes; else they are made up to suit the travel.
    pub is_given: bool,
}

impl CartridgeLayout {
    /// How much the springs are shortened at a deflection, which is stick less trim: signed, m.
    pub fn stroke_m(&self, deflection_rad: f32) -> f32 {
        let beyond = (deflection_rad.abs() - self.free_play_rad).max(0.0);
        let most = 0.9 * (self.length_m - self.coils * self.wire_m).max(0.0);
        (self.arm_m * beyond).min(most) * deflection_rad.signum()
    }
}

/// A pin that the stick stops at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PinLayout {
    /// 0 is pitch, 1 is roll.
    pub axis: usize,
    /// -1 the lower stop, 1 the upper.
    pub side: f32,
    /// Middle of the pin from the pivot.
    pub at: Vec3,
    /// Radius.
    pub radius_m: f32,
}

/// From the gears to a motor's face, m.
pub(super) const STAND_OFF_M: f32 = 0.030;
/// From the highest point of the grip to the first angle scale, and from that to the second, m.
const SCALE_CLEAR_M: f32 = 0.055;
const SCALE_STEP_M: f32 = 0.035;

/// Share of the circular pitch that the play between the teeth takes in the picture: true play is
/// far too small to be seen.
const PLAY_DRAWN: f32 = 0.2;

impl Layout {
    /// The layout of a rig.
    pub fn of(rig: &Rig) -> Self {
        let stick = &rig.stick;
        let solids = match &stick.mass {
            MassRig::Shapes(shapes) => Some([shapes.frame.clone(), shapes.inner.clone()]),
            MassRig::Measured(_) => None,
        };
        let tube = TubeLayout {
            radius_m: stick.tube_radius_m as f32,
            bottom_m: stick.tube_bottom_m as f32,
            top_m: stick.tube_top_m as f32,
        };
        let frame_half_m = match &solids {
            Some([frame, _]) => half_widths(frame),
            // Room for the tube to turn in.
            None => [(3.6 * tube.radius_m).max(0.038); 2],
        };
        let axis = [
            AxisLayout::of(&rig.pitch, -1.0),
            AxisLayout::of(&rig.roll, 1.0),
        ];
        let gear_m = axis
            .iter()
            .map(|axis| axis.trim_radius_m)
            .fold(0.0, f32::max);
        let lowest_m = solids
            .iter()
            .flatten()
            .flatten()
            .map(lowest_m)
            .fold(0.0, f32::max);
        // The roll gear swings with the frame: it dips by about a third of its distance at the
        // pitch stop.
        let swing_m = 0.36 * (frame_half_m[1] + 0.08) + gear_m;
        let mut pins = Vec::new();
        for (index, axis) in [&rig.pitch, &rig.roll].into_iter().enumerate() {
            for (deg, side) in [(axis.stops.min_deg, -1.0), (axis.stops.max_deg, 1.0)] {
                pins.push(pin(index, axis, deg, side, stick.tube_radius_m));
            }
        }
        Self {
            tube,
            grip_m: stick.grip_radius_m as f32,
            grip_radius_m: (1.75 * tube.radius_m).clamp(0.016, 0.03),
            grip_length_m: (0.22 * stick.grip_radius_m as f32).clamp(0.05, 0.11),
            frame_half_m,
            solids,
            axis,
            pivot_m: swing_m.max(lowest_m + 0.02).max(0.12),
            pins,
        }
    }

    /// Distance outward from the pivot at which the parts of an axis's drive stand: lever, first
    /// spring, gear.
    pub fn outward_m(&self, axis: usize) -> [f32; 3] {
        let cartridge = &self.axis[axis].cartridge;
        let face = self.frame_half_m[axis] + if axis == 0 { 0.026 } else { 0.012 };
        let spring = face + 0.006 + 0.5 * cartridge.coil_m + cartridge.wire_m;
        let pack = (cartridge.springs.max(1) - 1) as f32 * self.spring_step_m(axis);
        let gear = spring + pack + 0.5 * cartridge.coil_m + cartridge.wire_m + 0.014;
        [face, spring, gear]
    }

    /// From one spring of a cartridge to the next.
    pub fn spring_step_m(&self, axis: usize) -> f32 {
        let cartridge = &self.axis[axis].cartridge;
        cartridge.coil_m + cartridge.wire_m + 0.003
    }

    /// Middle of the motor of an axis. The roll motor swings with the frame.
    pub fn motor_at(&self, axis: usize, pitch_deg: f64) -> Vec3 {
        let [.., gear] = self.outward_m(axis);
        let out = gear + STAND_OFF_M + 0.5 * self.axis[axis].motor_m[1];
        let apart = self.axis[axis].apart_m();
        if axis == 0 {
            Vec3::new(-out, 0.0, apart)
        } else {
            pitch(pitch_deg) * Vec3::new(apart, 0.0, -out)
        }
    }

    /// The plate under everything.
    pub fn plate(&self) -> PlateLayout {
        let [.., gear] = self.outward_m(0);
        let [.., roll_gear] = self.outward_m(1);
        PlateLayout {
            left_m: gear + STAND_OFF_M + self.axis[0].motor_m[1] + 0.01,
            right_m: self.post_m() + 0.05,
            fore_m: (roll_gear + STAND_OFF_M + self.axis[1].motor_m[1] + 0.005)
                .max(self.axis[0].apart_m().abs() + 0.5 * self.axis[0].motor_m[0] + 0.01),
            aft_m: self.axis[0].trim_radius_m + 0.03,
        }
    }

    /// From the middle to the posts that carry the frame.
    pub fn post_m(&self) -> f32 {
        self.frame_half_m[0] + 0.015
    }

    /// Highest point of the grip, with its hat, above the pivot.
    pub fn top_m(&self) -> f32 {
        self.grip_m + 0.5 * self.grip_length_m + 1.2 * self.grip_radius_m
    }

    /// Radius of an angle scale around the pivot: of the inner, 0, or the outer, 1. Both are clear
    /// of the grip.
    pub fn scale_m(&self, place: usize) -> f32 {
        self.top_m() + SCALE_CLEAR_M + SCALE_STEP_M * place as f32
    }

    /// Point that the camera looks at and a distance from which the whole rig is seen, with its
    /// angle scales.
    pub fn whole(&self) -> (Vec3, f32) {
        let top = self.scale_m(1);
        let height = top + self.pivot_m;
        (
            Vec3::new(0.0, 0.5 * (top - self.pivot_m), 0.0),
            2.1 * height,
        )
    }
}

impl AxisLayout {
    fn of(axis: &AxisRig, pinion_side: f32) -> Self {
        let drive = &axis.drive;
        let trim_radius_m = drive.trim_pitch_radius_m as f32;
        let motor_radius_m = trim_radius_m * drive.motor_teeth as f32 / drive.trim_teeth as f32;
        let pitch_m = std::f32::consts::TAU * trim_radius_m / drive.trim_teeth as f32;
        let cartridge = axis.cartridge.cartridge();
        let travel_rad = (axis.stops.max_deg - axis.stops.min_deg).to_radians() / 2.0;
        let far_rad = travel_rad.min(cartridge.bind_rad);
        // Motors of twice the torque are about a third longer and a little wider (common practice,
        // no source).
        let strength = axis.motor.holding_n_m as f32;
        Self {
            trim_teeth: drive.trim_teeth,
            motor_teeth: drive.motor_teeth,
            trim_radius_m,
            motor_radius_m,
            ratio: drive.ratio() as f32,
            pinion_side,
            travel_rad: travel_rad as f32,
            play_drawn: PLAY_DRAWN * pitch_m / (drive.backlash_m as f32).max(1e-6),
            motor_m: [
                (0.050_f32 + 0.005 * strength).clamp(0.03, 0.09),
                (0.034_f32 + 0.014 * strength).clamp(0.025, 0.12),
            ],
            cartridge: CartridgeLayout::of(&axis.cartridge),
            // A cartridge whose play is wider than the travel never carries anything.
            full_n_m: (cartridge.torque_n_m(far_rad) as f32).max(1e-6),
        }
    }

    /// Half of the play as it is drawn, along the pitch circle, m.
    pub fn play_half_m(&self) -> f32 {
        0.5 * PLAY_DRAWN * self.circular_pitch_m()
    }

    /// From the gear's axis to the pinion's, along z of the drive's frame.
    pub fn apart_m(&self) -> f32 {
        self.pinion_side * (self.trim_radius_m + self.motor_radius_m)
    }

    /// From tooth to tooth along the pitch circle, m.
    pub fn circular_pitch_m(&self) -> f32 {
        std::f32::consts::TAU * self.trim_radius_m / self.trim_teeth as f32
    }
}

impl CartridgeLayout {
    fn of(rig: &CartridgeRig) -> Self {
        let figures = rig.cartridge();
        let free_play_rad = figures.free_play_rad as f32;
        match rig {
            CartridgeRig::Springs(spring) => Self {
                arm_m: spring.arm_m as f32,
                length_m: spring.installed_length_m as f32,
                coil_m: spring.coil_m as f32,
                wire_m: spring.wire_m as f32,
                coils: spring.total_coils as f32,
                springs: spring.springs,
                free_play_rad,
                is_given: true,
            },
            CartridgeRig::Measured(_) => {
                let (length_m, wire_m, coils) = (0.046_f32, 0.002_f32, 9.0_f32);
                // The arm on which the coils touch just where the rig says that they do.
                let stroke_rad = (figures.bind_rad as f32 - free_play_rad).max(0.05);
                Self {
                    arm_m: ((length_m - coils * wire_m) / stroke_rad).clamp(0.02, 0.05),
                    length_m,
                    coil_m: 0.014,
                    wire_m,
                    coils,
                    springs: figures.springs,
                    free_play_rad,
                    is_given: false,
                }
            }
        }
    }
}

/// A stop pin where the twin has it (see `docs/model/stops.md`).
fn pin(index: usize, axis: &AxisRig, deg: f64, side: f64, tube_radius_m: f64) -> PinLayout {
    let stops = &axis.stops;
    let (sin, cos) = libm::sincos(deg.to_radians());
    let away = side * (tube_radius_m + stops.pin_radius_m);
    let out = stops.height_m * sin + away * cos;
    let up = stops.height_m * cos - away * sin;
    let body = if index == 0 {
        [-out, 0.0, -up]
    } else {
        [0.0, out, -up]
    };
    PinLayout {
        axis: index,
        side: side as f32,
        at: to_scene(body),
        radius_m: stops.pin_radius_m as f32,
    }
}

/// Half widths of solids: to the side, fore and aft.
fn half_widths(solids: &[Solid]) -> [f32; 2] {
    let mut half = [0.0_f32; 2];
    for solid in solids {
        let [x, y, _] = extent_m(solid);
        half[0] = half[0].max((solid.at_m[1].abs() + y) as f32);
        half[1] = half[1].max((solid.at_m[0].abs() + x) as f32);
    }
    half
}

/// How far a solid reaches below the pivot.
fn lowest_m(solid: &Solid) -> f32 {
    (solid.at_m[2] + extent_m(solid)[2]) as f32
}

/// Half extents of a solid along the body axes.
fn extent_m(solid: &Solid) -> [f64; 3] {
    use trimproof_plant::{Along, SolidForm};
    let round = |radius: f64, half: f64, axis: Along| match axis {
        Along::X => [half, radius, radius],
        Along::Y => [radius, half, radius],
        Along::Z => [radius, radius, half],
    };
    match solid.shape {
        SolidForm::Cuboid { size_m } => size_m.map(|size| size / 2.0),
        SolidForm::Cylinder {
            radius_m,
            length_m,
            axis,
        } => round(radius_m, length_m / 2.0, axis),
        SolidForm::Capsule {
            radius_m,
            length_m,
            axis,
        } => round(radius_m, length_m / 2.0 + radius_m, axis),
        SolidForm::Sphere { radius_m } => [radius_m; 3],
    }
}
