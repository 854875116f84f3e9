DROP TABLE calibration_answers;
DROP TABLE photographs;
DROP TABLE red_flags;
DROP TABLE assessment_cells;
