mod worn;

pub fn probe() {
    worn::probe();
}
