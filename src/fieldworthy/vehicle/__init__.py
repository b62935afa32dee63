"""The state of the robot as a whole, on which many systems draw, over the cases of a batch."""
