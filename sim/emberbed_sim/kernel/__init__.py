"""The plant's equations as machine code, for many benches at once; never needed, only faster."""
