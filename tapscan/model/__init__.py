"""A rough vibrating model of a plate, made from a layout's outline alone; good for shapes, not for frequencies."""
