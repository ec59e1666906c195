package heat
