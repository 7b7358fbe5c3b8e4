//! The plate's holes.

use glam::{DVec2, dvec2};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lattice {
    Square,
    Hexagonal,
}

/// A lattice within a disc about the axis. The first lattice direction is x, turned by `rotation_deg` towards y; the second is y
/// of a square lattice, and 60 degrees from the first of a hexagonal one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plate {
    pub lattice: Lattice,
    pub pitch: f64,
    pub radius: f64,
    pub rotation_deg: f64,
    /// The larger hole.
    pub marker: Option<[i32; 2]>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hole {
    /// Steps along the two lattice directions.
    pub node: [i32; 2],
    pub at: DVec2,
    pub is_marker: bool,
}

impl Plate {
    pub fn place(&self, [i, j]: [i32; 2]) -> DVec2 {
        let second = match self.lattice {
            Lattice::Square => DVec2::Y,
            Lattice::Hexagonal => dvec2(0.5, 0.75f64.sqrt()),
        };
        let upright = self.pitch * (f64::from(i) * DVec2::X + f64::from(j) * second);
        DVec2::from_angle(self.rotation_deg.to_radians()).rotate(upright)
    }

    /// The holes, row by row from the top of the unturned lattice, each row from the left. A hole on the rim belongs to it.
    pub fn holes(&self) -> Vec<Hole> {
        // The rows of a hexagonal lattice are closer, and slanted: twice the cells are enough.
        let most = (2.0 * self.radius / self.pitch).ceil() as i32;
        let nodes = (-most..=most).rev().flat_map(|j| (-most..=most).map(move |i| [i, j]));
        let hole = |node| Hole { node, at: self.place(node), is_marker: self.marker == Some(node) };
        nodes.map(hole).filter(|hole| hole.at.length() <= self.radius * (1.0 + 1e-9)).collect()
    }
}
